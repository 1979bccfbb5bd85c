"""From an export file to accepted rows, quarantined rows and a judgement of both."""

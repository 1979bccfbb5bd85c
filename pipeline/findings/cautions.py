"""What every reader must know before using a list or a figure (contract section 8), said once."""

CAUTIONS = (
    "Records may be incomplete: what was never written down, or never exported, cannot be seen here.",
    "A link between two patients is a gap in the records of a unit. It is not an infection.",
    "Modelled figures, such as water used and bags run empty, are estimates and no measurements.",
    "That a unit, ward or patient is missing from a list does not clear them.",
    "The makers' instructions and local policy come before anything on this page.",
    "Infection-prevention staff and licensed clinicians decide; this page reports and advises no care.",
)

#: Said beside everything that is planned.
PLANNING = "Planning estimates, no ground to stretch a part's life, reuse a part or withhold a unit."

#: Said beside every list with patient keys.
PSEUDONYMS = "Patient keys are pseudonyms. They are not anonymous: handle this page as patient data."

// What the report's live charts take of Vega, and nothing more: no maps, trees, forces, words or regressions.
// Built into vega.js by `npm ci && npm run build`; see DEVELOPERS.md.
import { transforms } from "vega-dataflow";
import * as encode from "vega-encode";
import * as data from "vega-transforms";
import * as view from "vega-view-transforms";

Object.assign(transforms, data, view, encode);

export { parse } from "vega-parser";
export { View } from "vega-view";
// Expressions are interpreted, never compiled: the page's policy forbids code made from text.
export { expressionInterpreter } from "vega-interpreter";

// Live charts. Each swaps in for its drawing when it comes near the viewport; what it tells about a mark is the mark's
// row in the figure's own table, so a chart can never say anything else than the table.

const NEAR = "400px";
const REACH = 28;
const MARKS = ".mark-symbol > path, .mark-rect > path, .mark-rule > line";
const STEPS = { ArrowRight: 1, ArrowLeft: -1 };

let given;
const marksOf = new Map();

// Puts shared parts back in their places, and rows of cells back under the names of their columns.
function restored(part) {
  if (Array.isArray(part)) return part.map(restored);
  if (part === null || typeof part !== "object") return part;
  if ("$" in part) return restored(given.parts[part.$]);
  const whole = Object.fromEntries(Object.entries(part).map(([key, value]) => [key, restored(value)]));
  if (!("names" in whole && "rows" in whole)) return whole;
  return whole.rows.map((row) => Object.fromEntries(row.map((cell, place) => [whole.names[place], cell])));
}

async function draw(figure) {
  const plot = figure.querySelector(".plot");
  const box = document.createElement("div");
  // The numbers are read from the table; Vega gives its marks a role even where it is told not to.
  box.ariaHidden = "true";
  const chart = vega.parse(restored(given.charts[figure.id]), null, { ast: true });
  const view = new vega.View(chart, { expr: vega.expressionInterpreter, renderer: "svg" });
  await view.initialize(box).runAsync();
  plot.replaceChildren(box);
  figure.classList.add("live");
  const marks = [...box.querySelectorAll(MARKS)].filter((mark) => mark.__data__?.datum?.row !== undefined);
  marksOf.set(figure, marks);
  fade(figure);
  listen(figure, plot);
}

// Marks whose rows the reader has filtered out of the table fade.
function fade(figure) {
  const rows = figure.querySelector("tbody").rows;
  for (const mark of marksOf.get(figure) ?? []) mark.classList.toggle("faded", rows[mark.__data__.datum.row].hidden);
}

const tip = document.createElement("div");
tip.className = "tip";
tip.setAttribute("role", "status");
document.body.append(tip);
let shown = null;

function hide() {
  for (const mark of shown?.marks ?? []) mark.classList.remove("told");
  shown = null;
  tip.replaceChildren();
}

// Names and values are put in as text: whatever a record calls itself, it is only shown.
function line(name, value) {
  const found = document.createElement("p");
  found.append(...[name, value].filter(Boolean).map((text) => Object.assign(document.createElement("span"), { textContent: text })));
  return found;
}

function show(figure, row, beside) {
  if (shown?.figure === figure && shown.row === row) return;
  hide();
  const marks = marksOf.get(figure).filter((mark) => mark.__data__.datum.row === row);
  for (const mark of marks) mark.classList.add("told");
  shown = { figure, row, marks };
  const table = figure.querySelector("table");
  const names = table.tHead.rows[0].cells;
  const cells = [...table.tBodies[0].rows[row].cells].map((cell) => cell.textContent.trim());
  tip.replaceChildren(
    ...cells.map((cell, place) => line(place ? `${names[place].textContent}:` : "", cell)).filter((_, place) => cells[place]),
  );
  const at = beside.getBoundingClientRect();
  const left = Math.min(at.right + 12, document.documentElement.clientWidth - tip.offsetWidth - 8);
  const top = Math.min(Math.max(at.top - tip.offsetHeight - 8, 8), innerHeight - tip.offsetHeight - 8);
  tip.style.left = `${Math.max(left, 8)}px`;
  tip.style.top = `${top}px`;
}

function away(mark, event) {
  const at = mark.getBoundingClientRect();
  const across = Math.max(at.left - event.clientX, event.clientX - at.right, 0);
  const along = Math.max(at.top - event.clientY, event.clientY - at.bottom, 0);
  return Math.hypot(across, along);
}

function listen(figure, plot) {
  const marks = marksOf.get(figure);
  if (!marks.length) return;
  plot.tabIndex = 0;
  const point = (event) => {
    const [nearest] = marks.map((mark) => [away(mark, event), mark]).sort(([one], [other]) => one - other);
    if (nearest[0] <= REACH) show(figure, nearest[1].__data__.datum.row, nearest[1]);
    else hide();
  };
  plot.addEventListener("pointermove", point);
  plot.addEventListener("pointerdown", point);
  plot.addEventListener("pointerleave", hide);
  plot.addEventListener("blur", hide);
  plot.addEventListener("keydown", (event) => {
    if (!(event.key in STEPS)) return;
    event.preventDefault();
    const rows = [...new Set(marks.map((mark) => mark.__data__.datum.row))].sort((one, other) => one - other);
    const now = shown?.figure === figure ? rows.indexOf(shown.row) : STEPS[event.key] > 0 ? -1 : rows.length;
    const row = rows[Math.min(Math.max(now + STEPS[event.key], 0), rows.length - 1)];
    show(figure, row, marks.find((mark) => mark.__data__.datum.row === row));
  });
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") hide();
});
addEventListener("scroll", hide, { passive: true });

const near = new IntersectionObserver(
  (entries) => {
    for (const { target } of entries.filter((entry) => entry.isIntersecting)) {
      near.unobserve(target);
      draw(target);
    }
  },
  { rootMargin: NEAR },
);
carried("charts").then((found) => {
  given = found;
  for (const id of Object.keys(given.charts)) near.observe(document.getElementById(id));
});

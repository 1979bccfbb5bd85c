// One ward or one unit: rows of others go from every list that names them, and their marks fade. A unit's life line is
// drawn from the states in the key, so that it looks as the key says.

const BY = { ward: ["Ward", "Where"], unit: ["Unit"] };
const SITE = "the site";
const STRIP = 24;
const LABEL = 76;
const WIDTH = 912;
const SVG = "http://www.w3.org/2000/svg";
const DAY = 24 * 60;

function made(tag, text, more = {}) {
  return Object.assign(document.createElement(tag), { textContent: text }, more);
}

function drawn(tag, attributes, text = "") {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.textContent = text;
  return element;
}

function placeOf(table, kind) {
  return [...table.tHead.rows[0].cells].findIndex((cell) => BY[kind].includes(cell.textContent));
}

// Returns the tables that name what was chosen, each with how many of its rows are left.
function filtered(kind, name) {
  const told = [];
  for (const table of document.querySelectorAll(".listing table, figure table")) {
    const rows = [...table.tBodies[0].rows];
    const place = name ? placeOf(table, kind) : -1;
    for (const row of rows) {
      const cell = place < 0 ? "" : row.cells[place].textContent.trim();
      row.hidden = place >= 0 && cell !== name && cell !== SITE;
    }
    const left = rows.filter((row) => !row.hidden).length;
    const heading = table.closest("details")?.querySelector("summary") ?? table.caption;
    heading.querySelector(".part")?.remove();
    if (place >= 0) heading.append(made("span", ` – ${kind} ${name}: ${left} of ${rows.length} rows`, { className: "part" }));
    if (place >= 0 && left && table.closest(".listing")) told.push([table, left]);
    const figure = table.closest("figure");
    if (figure) fade(figure);
  }
  return told;
}

function listOf(told) {
  const list = made("ul", "", { className: "found" });
  for (const [table, left] of told) {
    const link = made("a", table.dataset.name, { href: `#${table.id}` });
    link.addEventListener("click", () => {
      const folded = table.closest("details");
      if (folded) folded.open = true;
    });
    const item = made("li", "");
    item.append(link, ` ${left === 1 ? "1 row" : `${left} rows`}`);
    list.append(item);
  }
  return list;
}

// Spans as [state, start, end] in local minutes, and the minutes of what is marked.
function read(text) {
  const [spans, marks] = text.split("|");
  let reached = 0;
  const found = [...spans.matchAll(/([A-Z])([0-9a-z]+)/g)].map(([, letter, size]) => {
    const start = reached;
    reached += Number.parseInt(size, 36);
    return [letter.charCodeAt(0) - 65, start, reached];
  });
  return [found, marks ? marks.split(",").map((mark) => Number.parseInt(mark, 36)) : []];
}

function clock(minutes, months) {
  let before = 0;
  for (const [name, days] of months) {
    if (minutes < before + days * DAY) {
      const [day, rest] = [Math.floor((minutes - before) / DAY) + 1, (minutes - before) % DAY];
      const [hour, minute] = [Math.floor(rest / 60), rest % 60].map((part) => String(part).padStart(2, "0"));
      return `${day} ${name}, ${hour}:${minute}`;
    }
    before += days * DAY;
  }
  return "the end";
}

function strips(unit, [spans, marks], months, keys) {
  const height = STRIP * months.length + 18;
  const words = `Life line of unit ${unit}, ${months[0][0]} to ${months.at(-1)[0]}; its times are in the table below it`;
  const picture = drawn("svg", { viewBox: `0 0 ${WIDTH} ${height}`, width: WIDTH, height, role: "img", "aria-label": words });
  const at = (minutes) => LABEL + ((WIDTH - LABEL - 4) * minutes) / (31 * DAY);
  for (let day = 1; day <= 31; day += 5) {
    picture.append(drawn("line", { x1: at((day - 1) * DAY), x2: at((day - 1) * DAY), y2: height, stroke: "var(--rule)" }));
    picture.append(drawn("text", { x: at((day - 1) * DAY) + 3, y: 11, class: "axis" }, day));
  }
  let before = 0;
  for (const [row, [name, days]] of months.entries()) {
    const [first, after, top] = [before, before + days * DAY, 18 + row * STRIP];
    picture.append(drawn("text", { x: 0, y: top + 12 }, name));
    for (const [state, start, end] of spans.filter(([, start, end]) => start < after && end > first)) {
      const piece = keys[state].cloneNode(true);
      const [left, right] = [Math.max(start, first), Math.min(end, after)].map((minutes) => at(minutes - first));
      piece.setAttribute("x", left);
      piece.setAttribute("width", Math.max(right - left, 1));
      piece.setAttribute("y", top + Number(piece.getAttribute("y")));
      picture.append(piece);
    }
    for (const mark of marks.filter((minutes) => minutes >= first && minutes < after)) {
      picture.append(drawn("path", { d: `M${at(mark - first)} ${top + 1}l7 7-7 7-7-7z`, class: "mark" }));
    }
    before = after;
  }
  return picture;
}

async function lineOf(unit) {
  const { months, lines } = await carried("lines");
  const states = document.getElementById("states");
  if (!(unit in lines)) return [made("p", "No stay and no cycle of it in these months.", { className: "quiet" })];
  const keys = [...states.querySelectorAll("li > svg > rect")];
  const names = keys.map((key) => key.textContent);
  const line = read(lines[unit]);
  const box = made("div", "", { className: "line scroll", tabIndex: 0 });
  box.setAttribute("role", "group");
  box.ariaLabel = `Life line of unit ${unit}`;
  box.append(strips(unit, line, months, keys));
  const table = made("table", "");
  const head = table.createTHead().insertRow();
  for (const name of ["From", "Until", "State"]) head.append(made("th", name, { scope: "col" }));
  const body = table.createTBody();
  for (const [state, start, end] of line[0]) {
    const row = body.insertRow();
    for (const cell of [clock(start, months), clock(end, months), names[state]]) row.insertCell().textContent = cell;
  }
  const folded = made("details", "");
  folded.append(made("summary", `Its ${line[0].length} times, one by one`), table);
  return [box, states, folded];
}

async function choose(kind, name) {
  for (const other of Object.keys(BY)) {
    const select = document.getElementById(other);
    if (other !== kind || !name) select.value = "";
  }
  const told = filtered(kind, name);
  for (const figure of document.querySelectorAll("figure[data-ward]")) {
    figure.hidden = Boolean(name) && kind === "ward" && figure.dataset.ward !== name;
  }
  const select = document.getElementById(kind);
  const chosen = document.getElementById("chosen");
  const found = document.getElementById("found");
  const states = document.getElementById("states");
  states.hidden = !(name && kind === "unit");
  found.after(states);
  chosen.hidden = !name;
  if (!name) return [chosen, found].forEach((box) => box.replaceChildren());
  const place = `${kind} ${name}, ${select.selectedIndex} of ${select.options.length - 1}`;
  const whole = made("button", "Show everything", { type: "button" });
  whole.addEventListener("click", () => {
    choose(kind, "");
    select.focus();
  });
  chosen.replaceChildren(made("p", `Showing ${place}. Figures of the site, and lists that name no ${kind}, stand as they are.`), whole);
  const words = told.length ? `In ${told.length === 1 ? "1 list" : `${told.length} lists`}:` : `No list on this page names ${kind} ${name}.`;
  const line = kind === "unit" ? await lineOf(name) : [];
  if (select.value !== name) return;
  found.replaceChildren(...line, made("p", `${words}`, { className: "told" }), listOf(told));
}

if (document.getElementById("closer")) {
  for (const part of document.querySelectorAll(".scripted")) part.hidden = false;
  for (const table of document.querySelectorAll(".listing table")) table.dataset.name = table.caption.textContent;
  for (const kind of Object.keys(BY)) {
    const select = document.getElementById(kind);
    select.value = "";
    select.addEventListener("change", () => choose(kind, select.value));
  }
}

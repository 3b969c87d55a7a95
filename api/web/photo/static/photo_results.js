/** The results as a table, with the uncertainty budget of each length folded in. */

import { make } from "./photo_lists.js";
import { chosen } from "./photo_request.js";

/** @param {string} name @returns {string} The label of a feature. */
const words = (name) => chosen("length-choices", name)?.textContent ?? name.replaceAll("_", " ");

/** A value with as many decimals as its uncertainty supports: two figures of the uncertainty (JCGM 100:2008, 7.2.6).
 * @param {number} value @param {number} doubt @returns {[string, string]} */
export function figures(value, doubt) {
  const decimals = doubt > 0 ? Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(doubt)))) : 3;
  return [value.toFixed(decimals), doubt.toFixed(decimals)];
}

/** @param {HTMLElement} place @param {any} answer Of `POST /v1/measure`; null: no lengths.
 * @param {string[]} counts In the short form. @param {string[]} notes */
export function showResults(place, answer, counts, notes) {
  const open = new Set([...place.querySelectorAll("details[open]")].map((each) => each.id));
  const rows = [
    ...counts.map((piece) => countRow(piece)),
    ...(answer?.observations ?? []).filter((/** @type {any} */ each) => typeof each.value === "string").map(layoutRow),
    ...(answer?.budgets ?? []).map((/** @type {any} */ each, /** @type {number} */ index) =>
      lengthRow(each, index, answer, open),
    ),
  ];
  const told = [...notes, ...(answer?.notes ?? []), ...(answer?.pictures[0].notes ?? [])].map(readable);
  place.replaceChildren(
    ...(rows.length
      ? [table(rows)]
      : [
          make("p", { className: "quiet" }, [
            "Nothing to measure yet: mark three contacts or more, four corners, or a length.",
          ]),
        ]),
    ...(told.length
      ? [
          make(
            "ul",
            { className: "notes" },
            told.map((note) => make("li", {}, [note])),
          ),
        ]
      : []),
  );
}

/** @param {Node[]} rows */
function table(rows) {
  const head = ["What", "Value", "± (95 %)"].map((text, at) =>
    make("th", { scope: "col", className: at ? "number" : "" }, [text]),
  );
  return make("table", {}, [make("thead", {}, [make("tr", {}, head)]), make("tbody", {}, rows)]);
}

/** @param {string} piece */
function countRow(piece) {
  const [name, value] = piece.split("=");
  const shown = value.endsWith("..") ? `at least ${value.slice(0, -2)}` : value.replace("..", " to ");
  return tableRow(plain(name), shown, "");
}

/** @param {any} observation */
function layoutRow(observation) {
  return tableRow(plain(observation.feature), observation.value.replaceAll("_", " "), "");
}

/** @param {string} name */
const plain = (name) => name.replace("other.", "other half, ").replaceAll("_", " ");

/** @param {string | Node} what @param {string} value @param {string} doubt @param {Node[]} [more] */
function tableRow(what, value, doubt, more = []) {
  return make("tr", {}, [
    make("th", { scope: "row" }, [what, ...more]),
    make("td", { className: "number" }, [value]),
    make("td", { className: "number" }, [doubt]),
  ]);
}

/** @param {any} length @param {number} index @param {any} answer @param {Set<string>} open */
function lengthRow(length, index, answer, open) {
  const unscaled = length.unit === "px";
  const [value, doubt] = figures(length.value, length.expanded);
  const shown = `${value} ${length.unit}`;
  const ratio = unscaled ? inPitches(length, answer) : "";
  const of = length.of === "other" ? "other half, " : "";
  const gaps = length.spans > 1 ? make("span", { className: "hint" }, [`over ${length.spans} gaps`]) : null;
  const folded = make("details", { id: `budget-${index}`, open: open.has(`budget-${index}`), className: "budget" }, [
    make("summary", {}, ["its uncertainty"]),
    make(
      "ul",
      {},
      length.budget.map((/** @type {any} */ line) => make("li", {}, [budgetLine(line, length)])),
    ),
  ]);
  const more = [gaps, ratio ? make("span", { className: "hint" }, [ratio]) : null, folded].filter(
    (each) => each !== null,
  );
  return tableRow(`${of}${words(length.feature)}`, shown, doubt, more);
}

/** @param {any} length @param {any} answer */
function inPitches(length, answer) {
  const pitch = answer.budgets.find((/** @type {any} */ each) => each.feature === "pitch" && each.unit === "px");
  if (!pitch || pitch === length) return "no scale: only proportions count";
  return `${(length.value / pitch.value).toFixed(2)} times the pitch`;
}

/** @param {any} line @param {any} length */
function budgetLine(line, length) {
  const share = Math.round((line.contribution / length.u) ** 2 * 100);
  return `${line.source}: ${Number(Math.abs(line.contribution).toPrecision(2))} ${length.unit} (${share} %)`;
}

/** Places of a request in the words of the page. @param {string} note */
export function readable(note) {
  return note
    .replace(/(?:pictures\[\d+\]\.)?rows\[(\d+)\]/g, (_, row) => `row ${Number(row) + 1}`)
    .replace(/\.points\[(\d+)\]/g, (_, point) => `, mark ${Number(point) + 1},`)
    .replace(/site (\d+)/g, (_, site) => `place ${Number(site) + 1}`)
    .replace(", counted from 0", "");
}

/** The marks of a picture and their changes: kept for a reload, with undo and redo. The picture itself is never kept. */

/** @typedef {{x: number, y: number, doubt?: string | null}} Spot A point in pixels of the picture, pixel centres whole. */
/** @typedef {{count: number, probability: number, sure: boolean, reasons: string[], missing: number[],
 *   alternatives: {count: number, probability: number}[]}} Found What the server found of a row. */
/** @typedef {{line: number[] | null, points: Spot[], feature: string, plane: string, found: Found | null,
 *   trouble: string}} Row `trouble`: why nothing was found along its line. */
/** @typedef {{points: Spot[], what: string, plane: string}} Outline */
/** @typedef {{points: Spot[], feature: string, plane: string}} Segment */
/** @typedef {{how: string, points: Spot[], length: string, limit: string, unit: string, perMm: string, rel: string,
 *   plane: string, thickness?: string}} Scale `thickness`: of a disc; marks kept before it was asked lack it. */
/** @typedef {{name: string, bytes: number, width: number, height: number}} File_ */
/** @typedef {{file: File_ | null, name: string, camera: string, of: string, rowCount: string, rows: Row[],
 *   outlines: Outline[], segments: Segment[], scale: Scale}} Marks */
/** @typedef {"rows" | "outlines" | "segments" | "scale"} Kind */
/** @typedef {{kind: Kind, item: number, point: number}} Mark One point: of which thing, and which of its points. */

const said = document.getElementById("photo-bench")?.dataset ?? {};
/** Limits of the server, from the page: most rows, fewest contacts of a row, shortest line, and how much beside and
 * beyond a line it looks at. */
export const RULES = {
  mostRows: Number(said.mostRows),
  fewestContacts: Number(said.fewestContacts),
  shortest: Number(said.shortestPx),
  widest: Number(said.widestPx),
  widestPart: Number(said.widestPart),
  beyond: Number(said.beyond),
};

const KEY = "otherhalf.photo";
/** Steps that can be undone. */
const MOST_STEPS = 200;

/** @returns {Marks} */
export function nothing() {
  return {
    file: null,
    name: "photo",
    camera: "photo",
    of: "this",
    rowCount: "",
    rows: [],
    outlines: [],
    segments: [],
    scale: noScale(),
  };
}

/** @returns {Scale} */
export function noScale() {
  return { how: "none", points: [], length: "", limit: "", unit: "mm", perMm: "", rel: "", plane: "housing_top", thickness: "" };
}

/** @param {number[] | null} line @returns {Row} */
export function newRow(line = null) {
  return { line, points: [], feature: "pitch", plane: "", found: null, trouble: "" };
}

/** @returns {Outline} */
export function newOutline() {
  return { points: [], what: "body_length/body_width", plane: "" };
}

/** @returns {Segment} */
export function newSegment() {
  return { points: [], feature: "body_length", plane: "" };
}

/** The thing that a mark belongs to. @param {Marks} marks @param {{kind: Kind, item: number}} mark */
export function thing(marks, mark) {
  return mark.kind === "scale" ? marks.scale : marks[mark.kind][mark.item];
}

/** Every point there is, in the order of the lists. @param {Marks} marks @returns {Mark[]} */
export function everyMark(marks) {
  const kinds = /** @type {const} */ (["rows", "outlines", "segments"]);
  const listed = kinds.flatMap((kind) => marks[kind].map((each, item) => ({ kind, item, count: each.points.length })));
  const all = [...listed, { kind: /** @type {const} */ ("scale"), item: 0, count: marks.scale.points.length }];
  return all.flatMap(({ kind, item, count }) => Array.from({ length: count }, (_, point) => ({ kind, item, point })));
}

export class Sheet {
  constructor() {
    this.marks = restored() ?? nothing();
    /** @type {string[]} */
    this.past = [];
    /** @type {string[]} */
    this.future = [];
    /** @type {Mark | null} */
    this.selected = null;
    /** @type {(() => void)[]} */
    this.listeners = [];
  }

  /** Remember the marks, so that the next change can be undone. */
  hold() {
    this.past = [...this.past.slice(1 - MOST_STEPS), JSON.stringify(this.marks)];
    this.future = [];
  }

  /** Change the marks as one step. @param {(marks: Marks) => void} how */
  change(how) {
    this.hold();
    this.adjust(how);
  }

  /** Change the marks within a step that was held before. @param {(marks: Marks) => void} how */
  adjust(how) {
    how(this.marks);
    this.tell();
  }

  /** @param {Mark | null} mark */
  select(mark) {
    this.selected = mark;
    this.tell();
  }

  undo() {
    return this.step(this.past, this.future);
  }

  redo() {
    return this.step(this.future, this.past);
  }

  /** @param {string[]} from @param {string[]} to @returns {boolean} Whether there was a step. */
  step(from, to) {
    const text = from.pop();
    if (text === undefined) return false;
    to.push(JSON.stringify(this.marks));
    this.marks = JSON.parse(text);
    this.tell();
    return true;
  }

  tell() {
    const { selected } = this;
    if (selected && !thing(this.marks, selected)?.points[selected.point]) this.selected = null;
    keep(this.marks);
    for (const listener of this.listeners) listener();
  }
}

/** @param {Marks} marks */
function keep(marks) {
  try {
    sessionStorage.setItem(KEY, JSON.stringify(marks));
  } catch {
    // Without storage everything works, but a reload loses the marks.
  }
}

/** @returns {Marks | null} */
function restored() {
  try {
    const text = sessionStorage.getItem(KEY);
    return text === null ? null : { ...nothing(), ...JSON.parse(text) };
  } catch {
    return null;
  }
}

/** A person has checked the row: its marks are its contacts. @param {Row} row */
export function confirm(row) {
  row.found = null;
  row.trouble = "";
  for (const spot of row.points) spot.doubt = null;
}

/** @param {Marks} marks @param {Mark} mark */
export function removePoint(marks, mark) {
  thing(marks, mark).points.splice(mark.point, 1);
  settle(marks, mark);
}

/** After points were changed by hand: contacts stand in order along their row, and the count is a person's.
 * @param {Marks} marks @param {{kind: Kind, item: number}} place */
export function settle(marks, { kind, item }) {
  if (kind !== "rows") return;
  const row = marks.rows[item];
  row.trouble = "";
  if (row.found && row.points.length !== row.found.count - row.found.missing.length) row.found = null;
  const ends = row.line ?? [row.points[0]?.x, row.points[0]?.y, row.points.at(-1)?.x, row.points.at(-1)?.y].map(Number);
  const [dx, dy] = [ends[2] - ends[0], ends[3] - ends[1]];
  row.points.sort((one, other) => (one.x - other.x) * dx + (one.y - other.y) * dy);
}

/** Add an empty mark whose points are typed. @param {Sheet} sheet @param {string} what */
export function addByFigures(sheet, what) {
  sheet.change((marks) => {
    if (what === "row") marks.rows.push(newRow());
    if (what === "outline") marks.outlines.push(newOutline());
    if (what === "segment") marks.segments.push(newSegment());
  });
}

/** Four corners sorted around their middle: they can be clicked in any order.
 * @param {Spot[]} points */
export function inOrder(points) {
  const middle = { x: mean(points.map((spot) => spot.x)), y: mean(points.map((spot) => spot.y)) };
  const angle = (/** @type {{x: number, y: number}} */ spot) => Math.atan2(spot.y - middle.y, spot.x - middle.x);
  return [...points].sort((one, other) => angle(one) - angle(other));
}

/** @param {number[]} numbers */
const mean = (numbers) => numbers.reduce((sum, each) => sum + each, 0) / numbers.length;

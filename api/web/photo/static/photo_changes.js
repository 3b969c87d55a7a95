/** Changes of marks that are more than setting a value. */

import { newOutline, newRow, newSegment, thing } from "./photo_state.js";

/** A person looked at the row: its marks are its contacts. @param {import("./photo_state.js").Row} row */
export function confirm(row) {
  row.found = null;
  row.trouble = "";
  for (const spot of row.points) spot.doubt = null;
}

/** @param {import("./photo_state.js").Marks} marks @param {import("./photo_state.js").Mark} mark */
export function removePoint(marks, mark) {
  thing(marks, mark).points.splice(mark.point, 1);
  settle(marks, mark);
}

/** After points were changed by hand: contacts stand in order along their row, and the count is a person's.
 * @param {import("./photo_state.js").Marks} marks @param {{kind: import("./photo_state.js").Kind, item: number}} place */
export function settle(marks, { kind, item }) {
  if (kind !== "rows") return;
  const row = marks.rows[item];
  row.trouble = "";
  if (row.found && row.points.length !== row.found.count - row.found.missing.length) row.found = null;
  const ends = row.line ?? [row.points[0]?.x, row.points[0]?.y, row.points.at(-1)?.x, row.points.at(-1)?.y].map(Number);
  const [dx, dy] = [ends[2] - ends[0], ends[3] - ends[1]];
  row.points.sort((one, other) => (one.x - other.x) * dx + (one.y - other.y) * dy);
}

/** Begin something to be given by figures. @param {import("./photo_state.js").Sheet} sheet @param {string} what */
export function addByFigures(sheet, what) {
  sheet.change((marks) => {
    if (what === "row") marks.rows.push(newRow());
    if (what === "outline") marks.outlines.push(newOutline());
    if (what === "segment") marks.segments.push(newSegment());
  });
}

/** How many contacts that makes: what was found, or what was looked at by eye. As `POST /v1/measure/row` tells it. */

/** @typedef {import("./photo_state.js").Row} Row */

/** Probability that the counts sent on must hold together. */
const LEVEL = 0.95;
const FEWEST = 3;

/** Fewest and most contacts of a row; null: anybody's guess. A row that was corrected by hand counts as marked, but for
 * marks that are still doubtful. @param {Row} row @returns {[number, number] | null} */
export function range(row) {
  if (!row.found) return [row.points.filter((spot) => !spot.doubt).length, row.points.length];
  const { count, probability, sure, missing, alternatives } = row.found;
  const counts = [count];
  let together = probability;
  for (const other of sure ? [] : alternatives) {
    if (together >= LEVEL) break;
    counts.push(other.count);
    together += other.probability;
  }
  if (!sure && together < LEVEL) return null;
  return [Math.min(...counts, count - missing.length), Math.max(...counts)];
}

/** Observations of contacts and rows in the short form, and what is to be said of them.
 * @param {import("./photo_state.js").Marks} marks @returns {{pieces: string[], notes: string[]}} */
export function counted(marks) {
  const rows = marks.rows.filter((row) => row.feature === "pitch" && row.points.length >= FEWEST);
  const prefix = marks.of === "this" ? "" : `${marks.of}.`;
  if (!rows.length) return { pieces: [], notes: [] };
  const stated = Number(marks.rowCount) || (rows.length > 1 ? rows.length : 0);
  if (stated && stated < rows.length) {
    return { pieces: [], notes: [`${rows.length} rows are marked, but the part is said to have ${stated}.`] };
  }
  const pieces = stated ? [`${prefix}rows=${stated}`] : [];
  const spans = rows.map(range);
  const sure = /** @type {[number, number][]} */ (spans.filter(Boolean));
  if (sure.length < spans.length) {
    return { pieces, notes: ["Not every row could be counted: look at its marks, and say when they are right."] };
  }
  if (!stated) {
    return {
      pieces: [`${prefix}contact_count=${sure[0][0]}..`],
      notes: ["One row is marked: its contacts count as “at least”."],
    };
  }
  const [low, high] = together(sure, stated);
  return { pieces: [`${prefix}contact_count=${low === high ? low : `${low}..${high}`}`, ...pieces], notes: [] };
}

/** Rows that are not marked are like those that are. @param {[number, number][]} spans @param {number} stated */
function together(spans, stated) {
  const of = (/** @type {0 | 1} */ end) => spans.map((span) => span[end]);
  const sum = (/** @type {number[]} */ numbers) => numbers.reduce((all, each) => all + each, 0);
  if (stated === spans.length) return [sum(of(0)), sum(of(1))];
  return [stated * Math.min(...of(0)), stated * Math.max(...of(1))];
}

/** The way to the bench: its address with what was there before and what the picture says now. */

/** Feature names that stand for one thing only, so that the picture's word replaces the bench's. */
const SINGLE = ["contact_count", "rows", "contact_layout"];

/** @param {string} piece @returns {[string, string]} */
function split(piece) {
  const at = piece.indexOf("=");
  return [piece.slice(0, at), piece.slice(at + 1)];
}

/** The bench's address. @param {string} search Of this page: what came from the bench. @param {string[]} pieces
 * @param {string} picture Its name: what it said before is replaced. */
export function benchAddress(search, pieces, picture) {
  const said = pieces.map(split);
  const names = new Set(said.map(([name]) => name).filter((name) => SINGLE.includes(name.replace(/^\w+\./, ""))));
  const kept = [...new URLSearchParams(search)].filter(
    ([name, value]) => value && !names.has(name) && !fromPicture(value, picture),
  );
  const query = [...kept, ...said].map(([name, value]) => `${encodeURIComponent(name)}=${legible(value)}`).join("&");
  return query ? `/?${query}` : "/";
}

/** @param {string} value @param {string} picture */
export function fromPicture(value, picture) {
  const name = /@\w+:([^+]*)/.exec(value);
  return name !== null && name[1] === picture;
}

/** A name that no picture has whose readings are on the bench already. @param {string} search */
export function freeName(search) {
  const values = [...new URLSearchParams(search).values()];
  const taken = (/** @type {string} */ name) => values.some((value) => fromPicture(value, name));
  if (!taken("photo")) return "photo";
  let number = 2;
  while (taken(`photo-${number}`)) number += 1;
  return `photo-${number}`;
}

/** @param {string} value */
function legible(value) {
  return encodeURIComponent(value).replace(/%(2F|40|3A|2C|3D)/g, (code) => decodeURIComponent(code));
}

/** The tools: what each takes hold of, and what to do with it. */

/** Kinds of marks that each tool takes hold of. */
export const HOLDS = /** @type {Record<string, string[]>} */ ({
  move: ["rows", "outlines", "segments", "scale"],
  row: [],
  contact: ["rows"],
  corners: ["outlines"],
  length: ["segments"],
  scale: ["scale"],
});
export const TOOLS = Object.keys(HOLDS);
export const HINTS = /** @type {Record<string, string>} */ ({
  move: "Drag the picture, or take hold of a mark.",
  row: "Draw a line along a row, from before its first contact to behind its last.",
  contact: "Click where a contact is that was not found; drag those that are off.",
  corners: "Click the four corners, in any order.",
  length: "Click one end, then the other.",
  scale: "Click both ends of something whose length you know, then say how long it is.",
});

/** From this zoom on a mouse needs no loupe. */
export const LOUPE_UNTIL = 2;

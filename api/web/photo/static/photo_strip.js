/** A narrow grey strip of the picture along a line, lying straight: all that leaves the browser of a picture. */

import { pen2d } from "./photo_picture.js";

/** How the strip is cut: as much beside and beyond the line as the server looks at (matcher/contacts/profile.py). */
const WIDEST = 61;
const WIDEST_PART = 0.125;
const BEYOND = 0.2;
/** Shortest line with anything to count on it, px. */
export const SHORTEST = 16;

/** @typedef {{canvas: HTMLCanvasElement, line: number[], place: (position: number) => {x: number, y: number}}} Strip
 * `line` in pixels of the strip; `place` gives the point of the picture at a position along it. */

/** @param {import("./photo_picture.js").Picture} picture @param {number[]} line x0, y0, x1, y1 @returns {Strip} */
export function stripAlong(picture, line) {
  const [x0, y0, x1, y1] = line;
  const length = Math.hypot(x1 - x0, y1 - y0);
  const [dx, dy] = [(x1 - x0) / length, (y1 - y0) / length];
  const steps = Math.round(length);
  const times = steps / length;
  /** @param {number} along @param {number} across */
  const point = (along, across) => ({
    x: x0 + (along * dx - across * dy) / times,
    y: y0 + (along * dy + across * dx) / times,
  });
  const inside = (/** @type {number} */ along, /** @type {number} */ across) =>
    [across, -across].every((side) => holds(picture, point(along, side)));
  const most = Math.ceil(Math.min(length * WIDEST_PART, WIDEST) / 2) + 3;
  const half = largest(most, (across) => inside(0, across) && inside(steps, across));
  const beyond = Math.ceil(BEYOND * steps) + 2;
  const ahead = largest(beyond, (along) => inside(-along, half));
  const behind = largest(beyond, (along) => inside(steps + along, half));
  const canvas = document.createElement("canvas");
  canvas.width = ahead + steps + 1 + behind;
  canvas.height = 2 * half + 1;
  const pen = pen2d(canvas, { willReadFrequently: true });
  const [a, c] = [times * dx, times * dy];
  const [cx, cy] = [x0 + 0.5, y0 + 0.5];
  pen.setTransform(a, -c, c, a, ahead + 0.5 - a * cx - c * cy, half + 0.5 + c * cx - a * cy);
  pen.drawImage(picture.image, 0, 0);
  makeGrey(pen, canvas);
  return { canvas, line: [ahead, half, ahead + steps, half], place: (position) => point(position, 0) };
}

/** @param {import("./photo_picture.js").Picture} picture @param {{x: number, y: number}} spot */
function holds(picture, spot) {
  return spot.x >= 0 && spot.y >= 0 && spot.x <= picture.width - 1 && spot.y <= picture.height - 1;
}

/** The largest whole number up to `most` that fits; 0 where none does. @param {number} most
 * @param {(tried: number) => boolean} fits */
function largest(most, fits) {
  let tried = most;
  while (tried > 0 && !fits(tried)) tried -= 1;
  return tried;
}

/** Grey as ITU-R BT.601 weighs colours, and opaque. @param {CanvasRenderingContext2D} pen
 * @param {HTMLCanvasElement} canvas */
function makeGrey(pen, canvas) {
  const pixels = pen.getImageData(0, 0, canvas.width, canvas.height);
  const { data } = pixels;
  for (let at = 0; at < data.length; at += 4) {
    const grey = 0.299 * data[at] + 0.587 * data[at + 1] + 0.114 * data[at + 2];
    data[at] = data[at + 1] = data[at + 2] = grey;
    data[at + 3] = 255;
  }
  pen.putImageData(pixels, 0, 0);
}

/** @param {HTMLCanvasElement} canvas @returns {Promise<Blob>} */
function asPng(canvas) {
  return new Promise((done, failed) =>
    canvas.toBlob((blob) => (blob ? done(blob) : failed(new Error("This browser cannot cut pictures."))), "image/png"),
  );
}

/** Contacts along a line. @param {import("./photo_picture.js").Picture} picture @param {number[]} line
 * @returns {Promise<{points: import("./photo_state.js").Spot[], found: import("./photo_state.js").Found}>} */
export async function findContacts(picture, line) {
  const strip = stripAlong(picture, line);
  const response = await fetch(`/v1/measure/row?line=${strip.line.join(",")}`, {
    method: "POST",
    headers: { "Content-Type": "image/png", Accept: "application/json" },
    body: await (await asPng(strip.canvas)).arrayBuffer(),
  });
  const answer = await response.json();
  if (!response.ok) throw new Error(whatIsWrong(answer));
  const [row] = answer.rows;
  const points = row.contacts.map((/** @type {any} */ contact) => ({
    ...rounded(strip.place(contact.position)),
    doubt: contact.doubtful,
  }));
  const { count, count_probability: probability, sure, reasons, missing, alternatives } = row;
  return { points, found: { count, probability, sure, reasons, missing, alternatives } };
}

/** @param {any} problem A problem of the interface (RFC 9457). */
function whatIsWrong(problem) {
  const [first] = problem.errors ?? [];
  return first ? sentence(first) : (problem.detail ?? problem.title);
}

/** @param {{message: string, remedy?: string | null}} fault */
export const sentence = (fault) => `${fault.message}${fault.remedy ? `: ${fault.remedy}` : ""}.`;

/** Hundredths of a pixel: finer than anything is seen. @param {{x: number, y: number}} spot */
export function rounded(spot) {
  return { x: Math.round(spot.x * 100) / 100, y: Math.round(spot.y * 100) / 100 };
}

/** The picture: decoded by the browser upright as its camera noted, drawn as finely as it is looked at. */

/** Most pixels of the copy that is drawn while moving, and its longest side: every phone can hold it. */
const MOST_PIXELS = 12e6;
const LONGEST_SIDE = 4096;

/** @typedef {{image: HTMLImageElement, width: number, height: number, copy: HTMLCanvasElement, part: number}} Picture
 * `part`: pixels of the copy per pixel of the picture; coordinates are always those of the picture. */

/** @param {Blob} blob @returns {Promise<Picture>} */
export async function openPicture(blob) {
  const image = new Image();
  const address = URL.createObjectURL(blob);
  image.src = address;
  try {
    await image.decode();
  } catch {
    throw new Error("This browser cannot read that as a picture. JPEG and PNG always work.");
  } finally {
    URL.revokeObjectURL(address);
  }
  const { naturalWidth: width, naturalHeight: height } = image;
  if (!width || !height || blob.type === "image/svg+xml") throw new Error("That is a drawing, not a photo.");
  const part = Math.min(1, LONGEST_SIDE / Math.max(width, height), Math.sqrt(MOST_PIXELS / (width * height)));
  return { image, width, height, copy: drawnCopy(image, width, height, part), part };
}

/** @param {HTMLImageElement} image @param {number} width @param {number} height @param {number} part */
function drawnCopy(image, width, height, part) {
  const copy = document.createElement("canvas");
  copy.width = Math.max(1, Math.round(width * part));
  copy.height = Math.max(1, Math.round(height * part));
  const pen = pen2d(copy);
  pen.imageSmoothingQuality = "high";
  pen.drawImage(image, 0, 0, copy.width, copy.height);
  return copy;
}

/** @param {HTMLCanvasElement} canvas @param {CanvasRenderingContext2DSettings} [how] */
export function pen2d(canvas, how) {
  const pen = canvas.getContext("2d", how);
  if (!pen) throw new Error("This browser cannot draw pictures.");
  return pen;
}

/** Draw what the view shows. `fine`: from the picture itself, where the copy is coarser than the screen.
 * @param {HTMLCanvasElement} canvas @param {Picture} picture @param {import("./photo_view.js").View} view
 * @param {boolean} fine */
export function draw(canvas, picture, view, fine) {
  const pen = pen2d(canvas);
  const dots = canvas.width / view.stage.width;
  const own = fine && picture.part < 1 && view.scale * dots > picture.part;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.setTransform(dots, 0, 0, dots, 0, 0);
  pen.imageSmoothingEnabled = view.scale < 3;
  pen.drawImage(
    own ? picture.image : picture.copy,
    view.x,
    view.y,
    picture.width * view.scale,
    picture.height * view.scale,
  );
}

/** How many times larger than on the stage the loupe shows, and at least, screen pixels per pixel. */
const LOUPE_TIMES = 3;
const LOUPE_LEAST = 2;

/** Draw the surroundings of a point with cross hairs through its middle.
 * @param {HTMLCanvasElement} canvas @param {Picture} picture @param {{x: number, y: number}} spot
 * @param {number} scale The stage's. */
export function drawLoupe(canvas, picture, spot, scale) {
  const pen = pen2d(canvas);
  const size = canvas.width;
  const times = Math.max(LOUPE_LEAST, LOUPE_TIMES * scale) * (size / canvas.clientWidth || 1);
  const seen = size / times;
  const [left, top] = [spot.x + 0.5 - seen / 2, spot.y + 0.5 - seen / 2];
  pen.fillStyle = "#777";
  pen.fillRect(0, 0, size, size);
  pen.imageSmoothingEnabled = times < 6;
  pen.drawImage(picture.image, left, top, seen, seen, 0, 0, size, size);
  for (const [colour, width] of /** @type {[string, number][]} */ ([
    ["#000", 4],
    ["#fff", 1.5],
  ])) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.stroke(crossHairs(size));
  }
}

/** @param {number} size */
function crossHairs(size) {
  const [half, gap] = [size / 2, size / 22];
  return new Path2D(
    `M0 ${half}H${half - gap}M${half + gap} ${half}H${size}M${half} 0V${half - gap}M${half} ${half + gap}V${size}`,
  );
}

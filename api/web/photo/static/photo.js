/** The photo bench. The picture stays in the browser. Points go to the server, and a grey strip of the picture where it
 * looks for contacts. The server computes everything, with the same code that the command line and the interface use. */

import { openPicture } from "./photo_drawing.js";
import { Lists } from "./photo_lists.js";
import { chosen, countsOf, findContacts, markAt, requestOf, sentence } from "./photo_request.js";
import { readable, showResults } from "./photo_results.js";
import { addByFigures, everyMark, nothing, Sheet } from "./photo_sheet.js";
import { Stage } from "./photo_stage.js";

/** Milliseconds after a change until lengths are asked for. */
const PAUSE_MS = 80;

const $ = (/** @type {string} */ id) => /** @type {any} */ (document.getElementById(id));

class PhotoBench {
  constructor() {
    this.sheet = new Sheet();
    this.stage = new Stage(this.sheet, {
      say: (text) => this.say(text),
      drawnRow: (item) => this.find(item),
      tool: (name) => pressTool(name),
      focus: (id) => (this.lists.wanted = id),
    });
    this.lists = new Lists(this.sheet, { find: (item) => this.find(item), say: (text) => this.say(text) });
    this.timer = 0;
    /** The marks that the lists show, as text. */
    this.shown = "";
    /** @type {AbortController | null} */
    this.asking = null;
    this.sheet.listeners.push(() => this.changed());
    this.listen();
    this.changed();
    this.remember();
  }

  /** @param {string} text */
  say(text) {
    $("status").textContent = text;
  }

  listen() {
    $("file").addEventListener("change", (/** @type {any} */ event) => this.open(event.target.files[0]));
    document.addEventListener("paste", (event) => this.open(pictureIn(event.clipboardData), event));
    for (const name of ["dragenter", "dragover"]) document.addEventListener(name, (event) => event.preventDefault());
    document.addEventListener("drop", (event) => this.open(pictureIn(event.dataTransfer), event));
    for (const button of document.querySelectorAll("button[data-tool]")) {
      button.addEventListener("click", () =>
        this.stage.choose(/** @type {HTMLElement} */ (button).dataset.tool ?? "move"),
      );
    }
    for (const button of document.querySelectorAll("[data-action]")) {
      button.addEventListener("click", () => this.stage.act(/** @type {HTMLElement} */ (button).dataset.action ?? ""));
    }
    for (const button of document.querySelectorAll("[data-add]")) {
      button.addEventListener("click", () =>
        addByFigures(this.sheet, /** @type {HTMLElement} */ (button).dataset.add ?? ""),
      );
    }
    for (const [id, name] of [
      ["camera", "camera"],
      ["of", "of"],
      ["row-count", "rowCount"],
    ]) {
      $(id).addEventListener("change", () =>
        this.sheet.change((marks) => Object.assign(marks, { [name]: $(id).value })),
      );
    }
    document.addEventListener("keydown", (event) => this.undoKey(event));
    $("copy").addEventListener("click", () => this.copy());
    $("save").addEventListener("click", () => saveAs($("save"), $("json").value));
  }

  /** @param {KeyboardEvent} event */
  undoKey(event) {
    const typing = event.target instanceof HTMLInputElement || event.target instanceof HTMLTextAreaElement;
    if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    this.stage.act(event.shiftKey ? "redo" : "undo");
  }

  /** Open a picture, or say why not. @param {File | null | undefined} file @param {Event} [event] */
  async open(file, event) {
    const dropped = event instanceof DragEvent;
    if (dropped || file) event?.preventDefault();
    if (dropped && !file) this.say("No picture was dropped.");
    if (!file) return;
    this.say("Opening the picture …");
    try {
      const picture = await openPicture(file);
      const again = this.match({ name: file.name, bytes: file.size, width: picture.width, height: picture.height });
      this.stage.show(picture);
      enable();
      this.stage.choose(again && everyMark(this.sheet.marks).length ? "move" : "row");
      this.say(
        `${file.name}: ${picture.width} × ${picture.height} pixels. ${again ? "Its marks are kept." : "Draw a line along a row, from before its first contact to beyond its last."}`,
      );
    } catch (error) {
      this.say(/** @type {Error} */ (error).message);
    }
    $("file").value = "";
  }

  /** Marks belong to one picture. Another picture starts without marks; that can be undone.
   * @param {import("./photo_sheet.js").File_} file @returns {boolean} Whether it is the picture that was marked. */
  match(file) {
    const before = this.sheet.marks.file;
    const again = before !== null && JSON.stringify(before) === JSON.stringify(file);
    if (again) return everyMark(this.sheet.marks).length > 0;
    const { camera } = this.sheet.marks;
    const begin = () => Object.assign(this.sheet.marks, nothing(), { file, camera, name: freeName(location.search) });
    if (before && everyMark(this.sheet.marks).length) this.sheet.change(begin);
    else this.sheet.adjust(begin);
    return false;
  }

  /** After a reload: which picture the marks belong to. */
  remember() {
    const { file } = this.sheet.marks;
    if (!file || !everyMark(this.sheet.marks).length) return;
    $("ask").textContent = `Open ${file.name} again`;
    this.say("The marks are kept, but not the picture: open it again to continue.");
  }

  /** Have the contacts of a row found. @param {number} item */
  async find(item) {
    const { picture } = this.stage;
    const line = this.sheet.marks.rows[item]?.line;
    if (!picture) return this.say("Open the picture first.");
    if (!line) return this.say("Give the row a line first.");
    this.say("Looking for the contacts …");
    try {
      const { points, found } = await findContacts(picture, line);
      const now = this.sheet.marks.rows.findIndex((row) => row.line && String(row.line) === String(line));
      if (now < 0) return undefined;
      this.sheet.adjust((marks) => Object.assign(marks.rows[now], { points, found, trouble: "" }));
      this.stage.choose("move");
      const doubtful = points.filter((spot) => spot.doubt).length;
      return this.say(
        `Row ${now + 1}: ${points.length} contacts found, ${found.sure ? "sure" : "not sure: count them by eye"}.${doubtful ? ` ${doubtful} doubtful, marked “?”.` : ""}`,
      );
    } catch (error) {
      const { message } = /** @type {Error} */ (error);
      this.sheet.adjust((marks) => marks.rows[item] && (marks.rows[item].trouble = message));
      return this.say(`Row ${item + 1}: ${message}`);
    }
  }

  changed() {
    this.stage.redraw();
    $("results").setAttribute("aria-busy", "true");
    clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.settled(), PAUSE_MS);
  }

  /** When nothing has changed for a moment: show the lists and ask for the results. */
  settled() {
    const { marks } = this.sheet;
    const text = JSON.stringify(marks);
    const asked = requestOf(marks);
    $("json").value = asked ? JSON.stringify(asked.body, null, 1) : "";
    $("camera").value = marks.camera;
    $("of").value = marks.of;
    $("row-count").value = marks.rowCount;
    if (text === this.shown) return this.asking ? undefined : this.done();
    this.shown = text;
    this.lists.show();
    return this.ask(asked);
  }

  /** @param {ReturnType<typeof requestOf>} asked */
  async ask(asked) {
    this.asking?.abort();
    this.asking = new AbortController();
    const own = [
      ...troubles(this.sheet.marks),
      ...(asked?.faults ?? []).map((fault) => ({ kind: "scale", item: 0, point: null, message: fault.message })),
    ];
    const { signal } = this.asking;
    if (!asked) return this.told(null, {}, own, { pieces: [], notes: [] });
    try {
      const [counts, response] = await Promise.all([
        countsOf(this.sheet.marks, signal),
        fetch("/v1/measure", {
          method: "POST",
          headers: { "Content-Type": "application/json", Accept: "application/json" },
          body: JSON.stringify(asked.body),
          signal,
        }),
      ]);
      const answer = await response.json();
      if (response.ok) return this.told(answer, asked.places, own, counts);
      const notes = [...unplaced(answer, asked.places), ...counts.notes];
      return this.told(null, asked.places, [...own, ...faultsOf(answer, asked.places)], { ...counts, notes });
    } catch (error) {
      if (/** @type {Error} */ (error).name === "AbortError") return undefined;
      const notes = ["The server does not answer. The marks are kept; change one to try again."];
      return this.told(null, {}, own, { pieces: [], notes });
    }
  }

  /** @param {any} answer @param {any} order @param {import("./photo_lists.js").Fault[]} faults
   * @param {{pieces: string[], notes: string[]}} counts In the short form, with notes. */
  told(answer, order, faults, counts) {
    this.asking = null;
    const pieces = [...counts.pieces, ...(answer?.short_form ?? [])];
    const toldFaults = faults.map((fault) => fault.message);
    this.lists.faults = faults;
    this.stage.result = { answer, order, faults };
    showResults($("results"), answer, counts.pieces, [...toldFaults, ...counts.notes]);
    $("take").href = benchAddress(location.search, pieces, this.sheet.marks.name);
    $("taken").textContent = pieces.length
      ? `${pieces.length} reading${pieces.length > 1 ? "s" : ""} of this picture will be taken along.`
      : "Nothing has been measured yet.";
    this.lists.show();
    this.stage.redraw();
    this.done();
  }

  done() {
    if (JSON.stringify(this.sheet.marks) === this.shown) $("results").setAttribute("aria-busy", "false");
  }

  async copy() {
    try {
      await navigator.clipboard.writeText($("json").value);
      this.say("Copied.");
    } catch {
      $("json").select();
      this.say("Selected: copy it with Ctrl+C.");
    }
  }
}

/** @param {any} problem @param {any} places @returns {import("./photo_lists.js").Fault[]} */
function faultsOf(problem, places) {
  return (problem.errors ?? []).flatMap((/** @type {any} */ each) => {
    const mark = markAt(each.field, places);
    return mark ? [{ ...mark, message: readable(sentence(each)) }] : [];
  });
}

/** Faults that belong to no mark. @param {any} problem @param {any} places @returns {string[]} */
function unplaced(problem, places) {
  const errors = problem.errors ?? [];
  if (!errors.length) return [problem.detail ?? problem.title];
  return errors
    .filter((/** @type {any} */ each) => !markAt(each.field, places))
    .map((/** @type {any} */ each) => readable(sentence(each)));
}

/** Rows along whose line nothing was found. @param {import("./photo_sheet.js").Marks} marks */
function troubles(marks) {
  const told = marks.rows.map(({ trouble: message, line }, item) => ({
    kind: "rows",
    item,
    point: null,
    message: line ? message : "",
  }));
  return told.filter((each) => each.message);
}

/** @param {DataTransfer | null} data */
function pictureIn(data) {
  return [...(data?.files ?? [])].find((file) => file.type.startsWith("image/"));
}

/** @param {string} name */
function pressTool(name) {
  for (const button of document.querySelectorAll("button[data-tool]")) {
    button.setAttribute("aria-pressed", String(/** @type {HTMLElement} */ (button).dataset.tool === name));
  }
}

function enable() {
  $("opening").hidden = true;
  for (const button of /** @type {NodeListOf<HTMLButtonElement>} */ (document.querySelectorAll(".tool")))
    button.disabled = false;
}

/** @param {HTMLAnchorElement} link @param {string} text */
function saveAs(link, text) {
  URL.revokeObjectURL(link.href);
  link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
}

/** @param {string} piece @returns {[string, string]} */
function split(piece) {
  const at = piece.indexOf("=");
  return [piece.slice(0, at), piece.slice(at + 1)];
}

/** The bench's address. @param {string} search Of this page: what came from the bench. @param {string[]} pieces
 * @param {string} picture Its name: its earlier readings are replaced. */
function benchAddress(search, pieces, picture) {
  const said = pieces.map(split);
  // Only lengths can be given twice: anything else from the picture replaces what the bench had.
  const names = new Set(said.map(([name]) => name).filter((name) => !chosen("length-choices", name.replace(/^\w+\./, ""))));
  const kept = [...new URLSearchParams(search)].filter(
    ([name, value]) => value && !names.has(name) && !fromPicture(value, picture),
  );
  const query = [...kept, ...said].map(([name, value]) => `${encodeURIComponent(name)}=${legible(value)}`).join("&");
  return query ? `/?${query}` : "/";
}

/** @param {string} value @param {string} picture */
function fromPicture(value, picture) {
  const name = /@\w+:([^+]*)/.exec(value);
  return name !== null && name[1] === picture;
}

/** A name that no picture with readings on the bench has. @param {string} search */
function freeName(search) {
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

new PhotoBench();

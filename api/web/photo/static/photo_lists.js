/** The lists of marks: every point as figures, to be typed instead of clicked or to be set exactly; and the elements that
 * lists are made of. */

import { number } from "./photo_request.js";
import { confirm, removePoint, settle, thing } from "./photo_sheet.js";

/** @typedef {import("./photo_sheet.js").Sheet} Sheet */
/** @typedef {import("./photo_sheet.js").Kind} Kind */
/** @typedef {{kind: string, item: number, point: number | null, message: string}} Fault */
/** @typedef {{find: (item: number) => void, say: (text: string) => void}} Acts */

export class Lists {
  /** @param {Sheet} sheet @param {Acts} acts */
  constructor(sheet, acts) {
    this.sheet = sheet;
    this.acts = acts;
    /** Lists of points that are folded open, by id. @type {Set<string>} */
    this.open = new Set();
    /** @type {Fault[]} */
    this.faults = [];
    /** The field to focus as soon as it is there. */
    this.wanted = "";
  }

  /** Build the lists again, and keep the focus. */
  show() {
    const focused = this.wanted || document.activeElement?.id;
    const { marks } = this.sheet;
    fill(
      "rows",
      marks.rows.map((_, item) => this.row(item)),
    );
    fill(
      "outlines",
      marks.outlines.map((_, item) => this.outline(item)),
    );
    fill(
      "segments",
      marks.segments.map((_, item) => this.segment(item)),
    );
    fill("scale", [this.scale()]);
    const field = focused ? document.getElementById(focused) : null;
    if (field && (this.wanted || document.activeElement === document.body))
      field.focus({ preventScroll: !this.wanted });
    if (field) this.wanted = "";
  }

  /** @param {string} legend @param {Kind} kind @param {number} item @param {(Node | null)[]} inside */
  group(legend, kind, item, inside) {
    const faults = this.faults.filter((fault) => fault.kind === kind && fault.item === item);
    const told = faults.map((fault) => make("p", { className: "error" }, [fault.message]));
    const kept = /** @type {Node[]} */ (inside.filter(Boolean));
    return make("fieldset", { className: faults.length ? "mark wrong" : "mark" }, [
      make("legend", {}, [legend]),
      ...told,
      ...kept,
    ]);
  }

  /** @param {number} item */
  row(item) {
    const row = this.sheet.marks.rows[item];
    const id = `rows-${item}`;
    const set = (/** @type {(row: import("./photo_sheet.js").Row) => void} */ how) =>
      this.sheet.change((marks) => how(marks.rows[item]));
    return this.group(`Row ${item + 1}: ${row.points.length} marked`, "rows", item, [
      this.verdict(row, item),
      field(
        `${id}-feature`,
        "Feature",
        choice("row-choices", row.feature, (value) => set((one) => (one.feature = value))),
      ),
      this.folded("rows", item, "Contact", () => [
        this.plane(id, row.plane, (value) => set((one) => (one.plane = value))),
        this.line(row, item),
      ]),
      this.removal("rows", item, `row ${item + 1}`),
    ]);
  }

  /** How sure the program is of the row, and a button to confirm it. @param {import("./photo_sheet.js").Row} row
   * @param {number} item */
  verdict(row, item) {
    if (!row.points.length) return null;
    const doubtful = row.points.filter((spot) => spot.doubt).length;
    const sure = row.found?.sure ?? true;
    const reasons = row.found?.reasons ?? [];
    const words = row.found ? foundWords(row.found) : "Counted by eye.";
    const right = () => this.sheet.change((marks) => confirm(marks.rows[item]));
    return make("div", { className: sure ? "verdict" : "verdict unsure" }, [
      make("p", {}, [make("strong", {}, [words]), doubtful ? ` ${doubtful} doubtful, marked “?”.` : ""]),
      ...(reasons.length
        ? [
            make(
              "ul",
              {},
              reasons.map((reason) => make("li", {}, [reason])),
            ),
          ]
        : []),
      ...(sure && !doubtful ? [] : [button("Confirmed by eye: every mark is a contact", right, { id: `rows-${item}-right` })]),
    ]);
  }

  /** The line along a row as figures, with the contacts to be found on it. @param {import("./photo_sheet.js").Row} row
   * @param {number} item */
  line(row, item) {
    const text = row.line ? row.line.map((each) => String(Math.round(each * 10) / 10)).join(", ") : "";
    const set = (/** @type {string} */ value) => {
      const line = value
        .split(/[,;\s]+/)
        .filter(Boolean)
        .map(number);
      if (line.length !== 4 || line.some(Number.isNaN))
        return this.acts.say("A line needs four numbers: x, y of its start, x, y of its end.");
      return this.sheet.change((marks) => (marks.rows[item].line = line));
    };
    const input = typed(text, set, { inputMode: "text", className: "line" });
    const find = button("Find contacts on it", () => this.acts.find(item), { id: `rows-${item}-find` });
    return make("div", { className: "pair" }, [field(`rows-${item}-line`, "Line: x, y, x, y in pixels", input), find]);
  }

  /** @param {number} item */
  outline(item) {
    const outline = this.sheet.marks.outlines[item];
    const set = (/** @type {(one: import("./photo_sheet.js").Outline) => void} */ how) =>
      this.sheet.change((marks) => how(marks.outlines[item]));
    const left = 4 - outline.points.length;
    return this.group(`Outline ${item + 1}${left ? `: ${left} corners missing` : ""}`, "outlines", item, [
      field(
        `outlines-${item}-what`,
        "It encloses",
        choice("outline-choices", outline.what, (value) => set((one) => (one.what = value))),
      ),
      this.folded("outlines", item, "Corner", () => [
        this.plane(`outlines-${item}`, outline.plane, (value) => set((one) => (one.plane = value))),
      ]),
      this.removal("outlines", item, `outline ${item + 1}`),
    ]);
  }

  /** @param {number} item */
  segment(item) {
    const segment = this.sheet.marks.segments[item];
    const set = (/** @type {(one: import("./photo_sheet.js").Segment) => void} */ how) =>
      this.sheet.change((marks) => how(marks.segments[item]));
    return this.group(
      `Length ${item + 1}${segment.points.length < 2 ? ": one end missing" : ""}`,
      "segments",
      item,
      [
        field(
          `segments-${item}-feature`,
          "Feature",
          choice("length-choices", segment.feature, (value) => set((one) => (one.feature = value))),
        ),
        this.folded("segments", item, "End", () => [
          this.plane(`segments-${item}`, segment.plane, (value) => set((one) => (one.plane = value))),
        ]),
        this.removal("segments", item, `length ${item + 1}`),
      ],
    );
  }

  /** @param {string} id @param {string} value @param {(value: string) => void} changed */
  plane(id, value, changed) {
    return field(`${id}-plane`, "Depth in the picture", choice("plane-choices", value, changed));
  }

  scale() {
    const { scale } = this.sheet.marks;
    const set = (/** @type {string} */ name) => (/** @type {string} */ value) =>
      this.sheet.change((marks) => Object.assign(marks.scale, { [name]: value }));
    const ways = /** @type {[string, string][]} */ ([
      ["none", "none: only proportions count"],
      ["segment", "something of known length is in it"],
      ["known", "pixels per millimetre are known"],
    ]);
    const inside = [field("scale-how", "Scale", choices(ways, scale.how, set("how")))];
    if (scale.how === "segment") {
      inside.push(
        make("div", { className: "pair" }, [
          field("scale-length", "Its length", typed(scale.length, set("length"))),
          field("scale-unit", "Unit", choice("unit-choices", scale.unit, set("unit"))),
          field("scale-limit", "± limit of error", typed(scale.limit, set("limit"))),
        ]),
        field(
          "scale-thickness",
          "Its thickness, if it is a coin or washer",
          typed(scale.thickness ?? "", set("thickness")),
          "Then its length is the diameter between opposite points of its upper rim, and its depth that of what it lies on.",
        ),
        this.folded("scale", 0, "End", () => []),
      );
    }
    if (scale.how === "known") {
      const hint = "Left empty: the usual value for such pictures.";
      inside.push(
        make("div", { className: "pair" }, [
          field("scale-perMm", "Pixels per mm", typed(scale.perMm, set("perMm"))),
          field("scale-rel", "± limit of error, %", typed(scale.rel, set("rel")), hint),
        ]),
      );
    }
    if (scale.how !== "none") {
      const plane = choice("plane-choices", scale.plane, set("plane"));
      plane.querySelector('[value=""]')?.remove();
      plane.value = scale.plane;
      inside.push(field("scale-plane", "Its depth in the picture", plane, "Marks at other depths get an uncertainty of their own."));
    }
    return this.group("Scale", "scale", 0, inside);
  }

  /** What is seldom needed, built when it is opened: first what `before` makes, then the points.
   * @param {Kind} kind @param {number} item @param {string} word @param {() => Node[]} before */
  folded(kind, item, word, before) {
    const { points } = thing(this.sheet.marks, { kind, item });
    const id = `${kind}-${item}-points`;
    const summary = make("summary", { id: `${id}-fold` }, [`${word}s as figures${kind === "scale" ? "" : ", depth"}`]);
    const folded = /** @type {HTMLDetailsElement} */ (
      make("details", { className: "points", open: this.open.has(id) }, [summary])
    );
    const fillIn = () =>
      folded.append(...before(), this.table(kind, item, word, points), this.another(kind, item, word, points.length));
    if (folded.open) fillIn();
    folded.addEventListener("toggle", () => {
      if (folded.open && !this.open.has(id)) fillIn();
      if (folded.open) this.open.add(id);
      else if (folded.isConnected) this.open.delete(id);
    });
    return folded;
  }

  /** @param {Kind} kind @param {number} item @param {string} word @param {import("./photo_sheet.js").Spot[]} points */
  table(kind, item, word, points) {
    return make(
      "ol",
      {},
      points.map((spot, point) => this.entry(kind, item, word, spot, point)),
    );
  }

  /** @param {Kind} kind @param {number} item @param {string} word @param {import("./photo_sheet.js").Spot} spot
   * @param {number} point */
  entry(kind, item, word, spot, point) {
    const id = `${kind}-${item}-${point}`;
    const name = `${word} ${point + 1}`;
    const at = (/** @type {"x" | "y"} */ axis) => {
      const input = typed(String(spot[axis]), (text) => this.setPoint(kind, item, point, axis, text), {
        id: `${id}-${axis}`,
        "aria-label": `${name}, ${axis}`,
      });
      input.addEventListener("focus", () => this.sheet.select({ kind, item, point }));
      return input;
    };
    const remove = () => this.sheet.change((marks) => removePoint(marks, { kind, item, point }));
    return make("li", {}, [
      at("x"),
      at("y"),
      button("✕", remove, { id: `${id}-remove`, "aria-label": `Delete ${name.toLowerCase()}` }),
      ...(spot.doubt ? [make("span", { className: "doubt" }, [`? ${spot.doubt}`])] : []),
    ]);
  }

  /** @param {Kind} kind @param {number} item @param {string} word @param {number} count */
  another(kind, item, word, count) {
    const most = kind === "rows" ? Infinity : kind === "outlines" ? 4 : 2;
    if (count >= most) return "";
    const input = typed("", (text) => this.addPoint(kind, item, text), {
      inputMode: "text",
      "aria-label": `Another ${word.toLowerCase()}: x, y`,
      placeholder: "x, y",
      id: `${kind}-${item}-another`,
    });
    return make("p", {}, [input]);
  }

  /** @param {Kind} kind @param {number} item @param {number} point @param {"x" | "y"} axis @param {string} text */
  setPoint(kind, item, point, axis, text) {
    const value = number(text);
    if (Number.isNaN(value)) return this.acts.say(`“${text}” is not a number: give ${axis} in pixels, as in 412.5.`);
    return this.sheet.change((marks) => {
      const { points } = thing(marks, { kind, item });
      points[point] = { ...points[point], [axis]: value };
      settle(marks, { kind, item });
    });
  }

  /** @param {Kind} kind @param {number} item @param {string} text */
  addPoint(kind, item, text) {
    const [x, y, ...rest] = text
      .split(/[,;\s]+/)
      .filter(Boolean)
      .map(number);
    if (Number.isNaN(x) || y === undefined || Number.isNaN(y) || rest.length)
      return this.acts.say("A point needs two numbers: x, y in pixels.");
    return this.sheet.change((marks) => {
      thing(marks, { kind, item }).points.push({ x, y });
      settle(marks, { kind, item });
    });
  }

  /** @param {"rows" | "outlines" | "segments"} kind @param {number} item @param {string} name */
  removal(kind, item, name) {
    return button(`Delete ${name}`, () => this.sheet.change((marks) => marks[kind].splice(item, 1)), {
      id: `${kind}-${item}-remove`,
    });
  }
}

/** @param {string} id @param {Node[]} inside */
function fill(id, inside) {
  document.getElementById(id)?.replaceChildren(...inside);
}

/** @param {import("./photo_sheet.js").Found} found */
function foundWords({ count, probability, sure, missing }) {
  const empty = missing.length ? `, ${missing.length} of them empty` : "";
  const percent = Math.min(99, Math.round(probability * 100));
  return sure
    ? `${count} places${empty}, sure.`
    : `${count} places${empty}, not sure (${percent} %): count them by eye.`;
}

/** @param {string} name @param {Record<string, any>} [values] @param {(Node | string)[]} [inside] */
export function make(name, values = {}, inside = []) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(values)) {
    if (key in made && key !== "list") /** @type {any} */ (made)[key] = value;
    else made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

/** @param {string} id @param {string} text @param {HTMLElement} control @param {string} [hint] */
export function field(id, text, control, hint) {
  control.id = id;
  const inside = [make("label", { htmlFor: id }, [text]), control];
  if (hint) {
    control.setAttribute("aria-describedby", `${id}-hint`);
    inside.push(make("span", { className: "hint", id: `${id}-hint` }, [hint]));
  }
  return make("p", { className: "field" }, inside);
}

/** @param {string} template @param {string} value @param {(value: string) => void} changed */
export function choice(template, value, changed) {
  const select = /** @type {HTMLSelectElement} */ (make("select"));
  const source = /** @type {HTMLTemplateElement} */ (document.getElementById(template));
  select.append(source.content.cloneNode(true));
  select.value = value;
  select.addEventListener("change", () => changed(select.value));
  return select;
}

/** @param {[string, string][]} options @param {string} value @param {(value: string) => void} changed */
export function choices(options, value, changed) {
  const select = /** @type {HTMLSelectElement} */ (
    make(
      "select",
      {},
      options.map(([word, words]) => make("option", { value: word }, [words])),
    )
  );
  select.value = value;
  select.addEventListener("change", () => changed(select.value));
  return select;
}

/** @param {string} value @param {(text: string) => void} changed @param {Record<string, any>} [more] */
export function typed(value, changed, more = {}) {
  const input = /** @type {HTMLInputElement} */ (
    make("input", { type: "text", inputMode: "decimal", autocomplete: "off", value, ...more })
  );
  input.addEventListener("change", () => changed(input.value));
  return input;
}

/** @param {string} text @param {() => void} act @param {Record<string, any>} [more] */
export function button(text, act, more = {}) {
  const made = make("button", { type: "button", className: "plain", ...more }, [text]);
  made.addEventListener("click", act);
  return made;
}

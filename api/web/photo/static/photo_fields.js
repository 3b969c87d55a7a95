/** Small pieces of the lists: elements, labelled fields, choices and buttons. */

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

"use strict";
// The live bench: the server works everything out; this script asks for the parts that change and puts them in place.

const form = document.getElementById("bench");
const spoken = document.getElementById("said");
const definition = document.getElementById("definition");
const REMEMBERED = ["instrument", "unit"];
const REST_MS = 150;
const SPOKEN_AFTER_MS = 900;
const asked = { drawing: 0, answer: 0, advice: 0 };
const shown = { drawing: 0, answer: 0, advice: 0 };
let wanted = "";
let busy = false;
let resting = 0;
let speaking = 0;

function address() {
  const data = new FormData(form);
  const kept = new URLSearchParams();
  const gaps = (name) => (data.get(`${name}.gaps`) || "").trim();
  for (const [name, value] of data) {
    let text = value.trim();
    if (!text || name.endsWith(".gaps") || name === "more" || (name === "unit" && text === "mm")) continue;
    if (/^\d+$/.test(gaps(name)) && !text.includes("/")) text = text.replace(/(?=@|\+[a-z_]+=)|$/, `/${gaps(name)}`);
    const box = form.querySelector(`input[type="checkbox"][name="${CSS.escape(name)}"]`);
    if (box && kept.has(name)) kept.set(name, `${kept.get(name)},${text}`);
    else kept.append(name, text);
  }
  const query = kept.toString().replace(/%2F/g, "/").replace(/%2C/g, ",").replace(/%40/g, "@").replace(/%3A/g, ":");
  return query ? `/?${query}` : "/";
}

async function part(name, from) {
  const number = ++asked[name];
  const answer = await fetch(from, { headers: { Accept: "text/html", "X-Part": name } });
  if (!answer.ok || number < shown[name]) return null;
  const text = await answer.text();
  if (number < shown[name]) return null; // a newer one is shown already
  shown[name] = number;
  return new DOMParser().parseFromString(text, "text/html").body;
}

function put(piece, fresh, inside) {
  const old = document.querySelector(`[data-piece="${piece}"]`);
  const given = fresh.querySelector(`[data-piece="${piece}"]`);
  if (!old || !given) return;
  if (inside) old.replaceChildren(...given.childNodes);
  else old.replaceWith(given);
}

function mark(state, names) {
  const wanted = new Set(names);
  for (const field of form.querySelectorAll("[data-name]")) {
    field.classList.toggle(state, wanted.has(field.dataset.name));
  }
  for (const line of form.querySelectorAll("[data-for]")) line.classList.toggle(state, wanted.has(line.dataset.for));
}

function filled() {
  const inputs = [...form.querySelectorAll("[data-name] input:not(.gaps)")];
  const holding = inputs.filter((input) => (input.type === "checkbox" ? input.checked : input.value.trim()));
  return holding.map((input) => input.name);
}

function nextNames() {
  return (document.querySelector("[data-next]")?.dataset.next || "").split(" ").filter(Boolean);
}

function showDrawing(fresh) {
  const voids = new Set((fresh.querySelector("[data-voids]")?.dataset.voids || "").split(" "));
  put("above", fresh, true);
  put("end", fresh, true);
  for (const field of form.querySelectorAll(".above .dim")) {
    const input = field.querySelector("input");
    field.classList.toggle("void", voids.has(field.dataset.name) && !input.value && input !== document.activeElement);
  }
  mark("next", nextNames());
}

function showAnswer(fresh) {
  put("verdict", fresh, false);
  put("rows", fresh, false);
  mark("given", filled());
  const wrong = [...document.querySelectorAll("[data-error]")];
  mark("wrong", wrong.map((item) => item.dataset.error));
  for (const place of form.querySelectorAll("[data-name] > .error")) {
    const name = place.parentElement.dataset.name;
    const said = wrong.find((item) => item.dataset.error === name);
    place.textContent = said ? said.querySelector("span").textContent : "";
    const input = place.parentElement.querySelector("input");
    if (said) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  }
  offerCopy();
  speak();
}

function showAdvice(fresh) {
  put("next", fresh, false);
  put("doubts", fresh, false);
  put("then", fresh, false);
  mark("next", nextNames());
}

function speak() {
  clearTimeout(speaking);
  speaking = setTimeout(() => {
    const verdict = document.querySelector("[data-verdict]")?.textContent || "";
    if (spoken.textContent !== verdict) spoken.textContent = verdict;
  }, SPOKEN_AFTER_MS);
}

// Every keystroke asks for an answer; while one is worked out, only the newest address waits.
async function refresh(from) {
  wanted = from;
  clearTimeout(resting);
  if (busy) return;
  busy = true;
  const answer = document.querySelector(".answer");
  answer.classList.add("waiting");
  try {
    let done = "";
    while (done !== wanted) {
      done = wanted;
      const [drawing, found] = await Promise.all([part("drawing", done), part("answer", done)]);
      if (drawing) showDrawing(drawing);
      if (found) showAnswer(found);
    }
    resting = setTimeout(advise, REST_MS, done);
  } catch (error) {
    unreachable(error);
  } finally {
    busy = false;
    answer.classList.remove("waiting");
  }
}

// The advice takes longest to work out, so it waits until the typing pauses.
async function advise(from) {
  try {
    const advice = await part("advice", from);
    if (advice && wanted === from) showAdvice(advice);
  } catch (error) {
    unreachable(error);
  }
}

function unreachable(error) {
  if (!(error instanceof TypeError)) throw error;
  spoken.textContent = "The server cannot be reached. What you typed is kept.";
}

function typed() {
  const now = address();
  history.replaceState(null, "", now);
  refresh(now);
}

let left = location.pathname + location.search;

function fieldLeft() {
  const now = address();
  if (now === left) return;
  // Typing has replaced the history entry: restore the one before, so that the back button takes back the whole field.
  history.replaceState(null, "", left);
  history.pushState(null, "", now);
  left = now;
}

function show(from) {
  left = from;
  const params = new URLSearchParams(from.split("?")[1] || "");
  const lacking = [...params.keys()].some((name) => !form.elements[name]);
  if (lacking || (params.get("remains") || "") !== form.dataset.remains) location.reload(); // its fields are others
  fill(params);
  refresh(from);
}

function fill(params) {
  for (const input of form.querySelectorAll("input[name], select[name]")) {
    const values = params.getAll(input.name);
    if (input.type === "checkbox") input.checked = values.join(",").split(",").includes(input.value);
    else if (input.name.endsWith(".gaps")) input.value = split(params.get(input.name.slice(0, -5)) || "")[1];
    else if (form.elements[`${input.name}.gaps`]) input.value = split(values[0] || "")[0];
    else if (input.tagName === "SELECT") input.value = values[0] || (input.name === "unit" ? "mm" : "");
    else if (input.type !== "hidden") input.value = values[0] || "";
  }
}

function split(text) {
  const match = /^([^/@]*)\/\s*(\d{1,4})\s*$/.exec(text);
  return match ? [match[1].trim(), match[2]] : [text, ""];
}

function define(input) {
  const about = document.getElementById(`about-${input.dataset.about}`);
  if (!about) return;
  const name = document.createElement("p");
  const label = document.createElement("b");
  label.append(...about.querySelector("dt").cloneNode(true).childNodes);
  name.append(label);
  const lines = [...about.querySelectorAll("dd p")].map((line) => {
    const copy = line.cloneNode(true);
    copy.removeAttribute("id");
    return copy;
  });
  definition.replaceChildren(name, ...lines);
  definition.hidden = false;
}

function offerCopy() {
  const button = document.querySelector("[data-copy]");
  if (!button || !navigator.clipboard) return;
  button.hidden = false;
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(location.href);
    button.textContent = "Copied";
  });
}

function remember() {
  for (const name of REMEMBERED) {
    const value = form.elements[name].value;
    try {
      localStorage.setItem(`bench.${name}`, value);
    } catch {
      return; // storage is not allowed here; the address remembers it
    }
  }
}

function recall() {
  const params = new URLSearchParams(location.search);
  if ([...params.keys()].length) return;
  for (const name of REMEMBERED) {
    try {
      const value = localStorage.getItem(`bench.${name}`);
      const known = [...form.elements[name].options].some((option) => option.value === value);
      if (value && known) form.elements[name].value = value;
    } catch {
      return;
    }
  }
}

form.addEventListener("input", (event) => {
  if (event.target.name !== "remains") typed(); // the server answers that with a whole page
});
form.addEventListener("change", (event) => {
  if (REMEMBERED.includes(event.target.name)) remember();
  if (event.target.name === "remains" || (event.target.name === "more" && event.target.value.trim())) {
    form.requestSubmit(); // the server gives each piece a field of its own, and marks what is gone
    return;
  }
  fieldLeft();
});
form.addEventListener("focusin", (event) => {
  if (event.target.dataset.about) define(event.target);
});
form.addEventListener("focusout", (event) => {
  if (!event.relatedTarget?.dataset.about) definition.hidden = true;
});
window.addEventListener("popstate", () => {
  show(location.pathname + location.search);
});
document.addEventListener("click", (event) => {
  const change = event.target.closest("a[data-apply]");
  if (change) {
    event.preventDefault();
    history.pushState(null, "", change.getAttribute("href"));
    show(change.getAttribute("href"));
    return;
  }
  const link = event.target.closest('a[href^="#"]');
  const goal = link && form.contains(link) ? document.getElementById(link.hash.slice(1)) : null;
  if (!goal) return;
  for (let inside = goal.closest("details"); inside; inside = inside.parentElement.closest("details")) inside.open = true;
  event.preventDefault();
  goal.scrollIntoView({ block: goal.matches("section") ? "start" : "center" });
  goal.focus({ preventScroll: true });
});
document.querySelector('a[href^="/sign-in"]')?.addEventListener("click", (event) => {
  event.currentTarget.search = new URLSearchParams({ to: location.pathname + location.search });
});
form.querySelector("[data-go]").hidden = true;
new IntersectionObserver(([answer]) => document.body.classList.toggle("at-answer", answer.isIntersecting)).observe(
  document.getElementById("answer"),
);
recall();
offerCopy();

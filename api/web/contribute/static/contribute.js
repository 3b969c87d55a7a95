// The form of an entry: the machine review while it is filled in, and rows added in place.
// The server does all the work: the form is sent to its own address, and the answer is a part of the same page.

const PAUSE_MS = 350; // after the last key, so that not every letter sends the form

const form = document.getElementById("entry");
if (form) begin();

function begin() {
  const fields = document.getElementById("fields");
  const review = document.getElementById("review");
  let waiting = 0;
  let asked = 0;

  form.addEventListener("input", (event) => {
    if (event.target.name?.startsWith("acknowledge.") || event.target.name?.startsWith("table.") || event.target.name === "reason") return;
    clearTimeout(waiting);
    waiting = setTimeout(look, PAUSE_MS);
  });

  form.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=row]");
    if (!button) return;
    event.preventDefault();
    addRow(button);
  });

  async function look() {
    const number = ++asked;
    const part = await ask("review", form);
    // Do not interrupt somebody who is writing a reason beside a finding.
    if (part !== null && number === asked && !review.contains(document.activeElement)) {
      review.innerHTML = part;
    }
  }

  async function addRow(button) {
    button.disabled = true;
    const part = await ask("fields", form, button);
    if (part === null) {
      button.disabled = false;
      form.requestSubmit(button);
      return;
    }
    const before = new Set([...fields.querySelectorAll("[id]")].map((each) => each.id));
    const open = new Set([...fields.querySelectorAll("details")].map((each, place) => (each.open ? place : -1)));
    fields.innerHTML = part;
    [...fields.querySelectorAll("details")].forEach((each, place) => { if (open.has(place)) each.open = true; });
    const added = [...fields.querySelectorAll("input, select")].find((each) => each.id && !before.has(each.id));
    added?.focus();
  }

  if (!("looked" in review.dataset)) look(); // else the server has reviewed it, and may have marked what is wrong
}

// A part of the page for the form as it is now; null where the server cannot be reached.
async function ask(part, form, button) {
  const body = new URLSearchParams(new FormData(form));
  if (button) body.set(button.name, button.value);
  try {
    const answer = await fetch(form.dataset.review, {
      method: "POST",
      body,
      headers: { Accept: "text/html", "X-Part": part },
      credentials: "same-origin",
    });
    return answer.ok ? await answer.text() : null;
  } catch {
    return null;
  }
}

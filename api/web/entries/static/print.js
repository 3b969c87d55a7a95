// The button that opens the browser's print window: it is of no use without this script, so it is shown by it.
const button = document.getElementById("print-now");
if (button) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// The button that opens the print window of the browser; without this script it stays hidden.
const button = document.getElementById("print-now");
if (button) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

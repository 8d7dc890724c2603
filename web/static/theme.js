// Night is what stage light asks for, day what a load-in asks for; the person may choose.
import { keep, kept } from "./own.js";

const KEPT = "theme";
const button = document.getElementById("theme");

const daylight = matchMedia("(prefers-color-scheme: light)");
let chosen = kept(KEPT);

function show() {
  const name = chosen || (daylight.matches ? "day" : "night");
  document.documentElement.dataset.theme = name;
  button.textContent = name === "day" ? "night" : "day";
}
show();
daylight.addEventListener("change", show);
button.addEventListener("click", () => {
  chosen = document.documentElement.dataset.theme === "day" ? "night" : "day";
  show();
  keep(KEPT, chosen);
});

// Night is what stage light asks for, day what a load-in asks for; the person may choose.
const button = document.getElementById("theme");

function setTheme(name) {
  document.documentElement.dataset.theme = name;
  button.textContent = name === "day" ? "night" : "day";
  try {
    localStorage.setItem("theme", name);
  } catch {
    // private browsing: the choice lasts as long as the page
  }
}
let kept = null;
try {
  kept = localStorage.getItem("theme");
} catch {
  // as above
}
const daylight = matchMedia("(prefers-color-scheme: light)").matches;
setTheme(kept ?? (daylight ? "day" : "night"));
button.addEventListener("click", () =>
  setTheme(document.documentElement.dataset.theme === "day" ? "night" : "day"),
);

// Night is what stage light asks for, day what a load-in asks for; the person may choose.
const button = document.getElementById("theme");

const daylight = matchMedia("(prefers-color-scheme: light)");
let chosen = null;
try {
  chosen = localStorage.getItem("theme");
} catch {
  // private browsing: a choice lasts as long as the page
}

function show() {
  const name = chosen ?? (daylight.matches ? "day" : "night");
  document.documentElement.dataset.theme = name;
  button.textContent = name === "day" ? "night" : "day";
}
show();
daylight.addEventListener("change", show);
button.addEventListener("click", () => {
  chosen = document.documentElement.dataset.theme === "day" ? "night" : "day";
  show();
  try {
    localStorage.setItem("theme", chosen);
  } catch {
    // as above
  }
});

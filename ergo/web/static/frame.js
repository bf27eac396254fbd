// What every page has: light or dark, chosen by the reader and kept.
const root = document.documentElement;
const kept = localStorage.getItem("scheme");
if (kept) root.dataset.scheme = kept;

document.getElementById("scheme").addEventListener("click", () => {
  const isDark = getComputedStyle(root).getPropertyValue("--is-dark").trim() === "1";
  root.dataset.scheme = isDark ? "light" : "dark";
  localStorage.setItem("scheme", root.dataset.scheme);
  dispatchEvent(new Event("scheme"));
});

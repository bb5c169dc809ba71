// Light or dark: what the reader chose before, else what the system says. Runs before the page is drawn.
(() => {
  const root = document.documentElement;
  const kept = localStorage.getItem("light");
  if (kept === "light" || kept === "dark") root.dataset.light = kept;
  const dark = () =>
    root.dataset.light ? root.dataset.light === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.addEventListener("DOMContentLoaded", () => {
    const button = document.getElementById("light");
    if (!button) return;
    const say = () => (button.title = button.ariaLabel = dark() ? "Turn the page light" : "Turn the page dark");
    say();
    button.addEventListener("click", () => {
      root.dataset.light = dark() ? "light" : "dark";
      localStorage.setItem("light", root.dataset.light);
      say();
      document.dispatchEvent(new Event("light"));
    });
  });
})();

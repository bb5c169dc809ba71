// Small comforts of the search page; it works without them.
const all = document.getElementById("all");
if (all) {
  all.hidden = false;
  const boxes = () => [...document.querySelectorAll('#hits input[name="tags"]')];
  const say = () => (all.textContent = boxes().every((box) => box.checked) ? "Choose none" : "Choose all on this page");
  all.addEventListener("click", () => {
    const on = !boxes().every((box) => box.checked);
    for (const box of boxes()) box.checked = on;
    say();
  });
  document.getElementById("hits").addEventListener("change", say);
  const [reel, title] = ["reel", "title"].map((id) => document.getElementById(id));
  reel.addEventListener("change", () => (title.hidden = reel.value !== ""));
}

// Empty fields say nothing: leave them out of the address.
document.getElementById("filters")?.addEventListener("formdata", (event) => {
  for (const [name, value] of [...event.formData]) if (!String(value).trim()) event.formData.delete(name);
});

// On a wide screen the filters stay open beside the answer; on a phone they fold away after a search.
const filters = document.getElementById("filter-box");
if (filters && matchMedia("(min-width: 62rem)").matches) filters.open = true;

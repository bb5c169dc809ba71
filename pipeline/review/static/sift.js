// A field that shows only the rows that hold its words; groups without any such row go too.
for (const field of document.querySelectorAll("[data-sifts]")) {
  const rows = [...document.querySelectorAll(field.dataset.sifts)];
  const said = document.getElementById(`${field.id}-said`);
  field.closest(".sift").hidden = false;
  const sift = () => {
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const row of rows) {
      const text = row.textContent.toLowerCase();
      row.hidden = !words.every((word) => text.includes(word));
      shown += !row.hidden;
    }
    for (const group of document.querySelectorAll("[data-sift-group]")) {
      const own = rows.filter((row) => group.contains(row));
      if (own.length) group.hidden = own.every((row) => row.hidden);
      if (words.length && "siftOpens" in group.dataset) group.open = true;
    }
    if (said) said.textContent = words.length ? `${shown} of ${rows.length} shown.` : "";
  };
  field.addEventListener("input", sift);
  sift();
}

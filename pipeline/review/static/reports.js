// Says that a report is being made; one with pictures takes a while.
const making = document.getElementById("making");
for (const form of document.querySelectorAll(".reports form")) {
  form.addEventListener("submit", (event) => {
    const paper = event.submitter?.textContent === "PDF";
    making.textContent = `"${form.querySelector("h2").textContent}" is being made; with pictures that takes up to half a minute. It ${paper ? "is downloaded" : "opens in a window of its own"} then.`;
    making.hidden = false;
    making.scrollIntoView({ block: "nearest" });
  });
}

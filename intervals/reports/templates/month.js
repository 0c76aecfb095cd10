"use strict";
// sorting: a heading becomes a button; figures sort as figures, words as words
for (const table of document.querySelectorAll("table.sort")) {
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const up = head.getAttribute("aria-sort") !== "ascending";
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      const key = (row) => row.cells[column].dataset.n ?? row.cells[column].textContent.trim();
      const body = table.tBodies[0];
      const compare = (one, other) => (one - other) || String(one).localeCompare(String(other), "en", { numeric: true });
      const rows = [...body.rows].sort((one, other) => compare(key(one), key(other)) * (up ? 1 : -1));
      body.append(...rows);
    });
  });
}
// folding: one button for all, and a link opens what it leads to
const folds = [...document.querySelectorAll("#why details")];
const all = document.createElement("button");
all.type = "button";
all.textContent = "Unfold all";
all.addEventListener("click", () => {
  const open = all.textContent === "Unfold all";
  folds.forEach((fold) => { fold.open = open; });
  all.textContent = open ? "Fold all" : "Unfold all";
});
document.getElementById("fold")?.append(all);
const unfold = () => {
  const place = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  const fold = place && place.matches("article") && place.querySelector("details");
  if (fold) fold.open = true;
};
addEventListener("hashchange", unfold);
unfold();
// paper: folds are printed open, but for the sums of tasks that need nothing; what was closed is closed again
let opened = [];
addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details:not([open])")].filter((fold) => !fold.closest("article.in_interval"));
  opened.forEach((fold) => { fold.open = true; });
});
addEventListener("afterprint", () => { opened.forEach((fold) => { fold.open = false; }); });

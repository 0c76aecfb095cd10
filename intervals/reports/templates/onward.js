// a table or chart that is wider than its place says so, until its right edge is seen
for (const box of document.querySelectorAll(".scroll")) {
  const hint = document.createElement("p");
  hint.className = "onward";
  hint.textContent = "continues to the right \u2192";
  hint.hidden = true;
  box.before(hint);
  const look = () => { hint.hidden = box.scrollLeft + box.clientWidth >= box.scrollWidth - 2; };
  box.addEventListener("scroll", look, { passive: true });
  new ResizeObserver(look).observe(box);
}

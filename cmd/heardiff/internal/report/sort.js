"use strict";
for (const table of document.querySelectorAll("table.sortable")) {
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const up = head.getAttribute("aria-sort") !== "ascending";
      heads.forEach(h => h.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      const key = row => {
        const cell = row.cells[column];
        return cell.dataset.v === undefined ? cell.textContent.trim() : parseFloat(cell.dataset.v);
      };
      const unknown = v => typeof v === "number" && Number.isNaN(v);
      const order = (a, b) => {
        const x = key(a), y = key(b);
        if (unknown(x) || unknown(y)) return unknown(x) - unknown(y); // what is not known stays last
        const d = typeof x === "number" ? x - y : x.localeCompare(y, "en", {numeric: true});
        return up ? d : -d;
      };
      const body = table.tBodies[0];
      body.append(...[...body.rows].sort(order));
    });
  });
}
document.getElementById("show-json").addEventListener("click", event => {
  const view = document.getElementById("json-view");
  view.textContent = JSON.stringify(JSON.parse(document.getElementById("link-json").textContent), null, 1);
  view.hidden = !view.hidden;
  event.target.textContent = view.hidden ? "Show them" : "Hide them";
});

"use strict";
// What the page carries packed, and how it comes out again: the data of the charts, the life lines, and long lists.

async function unpacked(text) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"))).text();
}

async function carried(id) {
  return JSON.parse(await unpacked(document.getElementById(id).textContent));
}

// A long list is saved as the CSV file that it is; where scripts are off the link saves it packed.
document.addEventListener("click", async (event) => {
  const link = event.target.closest("a[download$='.csv.gz']");
  if (!link) return;
  event.preventDefault();
  const text = await unpacked(link.href.split(",")[1]);
  const file = URL.createObjectURL(new Blob([text], { type: "text/csv;charset=utf-8" }));
  Object.assign(document.createElement("a"), { href: file, download: link.download.replace(/\.gz$/, "") }).click();
  URL.revokeObjectURL(file);
});

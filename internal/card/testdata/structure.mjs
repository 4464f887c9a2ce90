// Prints what pdf.js reads of a tagged PDF as JSON: its title and language, and
// for each page the elements of the structure in the order of reading, with
// their role, language, alternative text and the words drawn in them.
// Usage: node structure.mjs PDFJS-FOLDER FILE.pdf
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [folder, file] = process.argv.slice(2);
const { getDocument } = await import(pathToFileURL(folder + "/legacy/build/pdf.mjs"));
const doc = await getDocument({ data: new Uint8Array(readFileSync(file)), verbosity: 1 }).promise;
const { info } = await doc.getMetadata();
const { Marked } = await doc.getMarkInfo();
const pages = [];
for (let n = 1; n <= doc.numPages; n++) {
  const page = await doc.getPage(n);
  const words = new Map();
  const open = [];
  for (const item of (await page.getTextContent({ includeMarkedContent: true })).items) {
    if (item.type === "beginMarkedContentProps" || item.type === "beginMarkedContent") open.push(item.id);
    else if (item.type === "endMarkedContent") open.pop();
    else {
      const id = open.findLast((id) => id !== undefined);
      words.set(id, (words.get(id) ?? "") + item.str + (item.hasEOL ? " " : ""));
    }
  }
  const elements = [];
  const walk = (node) => {
    const own = (node.children ?? []).filter((kid) => kid.type === "content");
    if (node.role !== "Root") {
      elements.push({ role: node.role, lang: node.lang ?? "", alt: node.alt ?? "", text: own.map((kid) => words.get(kid.id) ?? "").join("") });
    }
    for (const kid of node.children ?? []) if (kid.role) walk(kid);
  };
  walk(await page.getStructTree());
  pages.push(elements);
}
console.log(JSON.stringify({ title: info.Title, language: info.Language, marked: Marked, pages }));

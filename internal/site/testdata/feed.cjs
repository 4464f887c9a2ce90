// Reads a feed from the standard input as a feed reader does, and prints what it
// found as JSON: node feed.cjs FOLDER-OF-FEEDPARSER
const FeedParser = require(process.argv[2]);
const parser = new FeedParser({ resume_saxerror: false });
const out = { items: [], faults: [] };
parser.on("error", (fault) => out.faults.push(String(fault)));
parser.on("meta", (meta) => {
  out.version = meta["#type"] + " " + meta["#version"];
  out.title = meta.title;
  out.link = meta.link;
  out.description = meta.description;
  out.language = meta.language;
  out.self = meta.xmlurl;
});
parser.on("readable", () => {
  for (let item; (item = parser.read()); ) {
    out.items.push({ title: item.title, link: item.link, guid: item.guid, date: item.pubdate && item.pubdate.toISOString(), text: item.description });
  }
});
parser.on("end", () => console.log(JSON.stringify(out)));
process.stdin.pipe(parser);

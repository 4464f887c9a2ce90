// Undoes the line breaks of flowed text (RFC 3676) with libmime, whose folder is the
// first argument: text on standard input, paragraphs on standard output.
const libmime = require(process.argv[2]);
const text = require("fs").readFileSync(0, "utf8");
process.stdout.write((libmime.default || libmime).decodeFlowed(text, false));

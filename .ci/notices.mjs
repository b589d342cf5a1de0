// What a binary must carry: the licences of the crates that are linked into it, each text once, with whom it names.
//
//     node .ci/notices.mjs            writes NOTICES.txt
//     node .ci/notices.mjs --check    fails where NOTICES.txt is not what it would write
//
// Crates and their licences come from `cargo metadata`, texts and names from the files that the crates ship.
import { execFileSync } from "node:child_process";
import { existsSync, readdirSync, readFileSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";

const root = join(import.meta.dirname, "..");
const target = "x86_64-unknown-linux-gnu";
// Where a crate leaves the choice, the first of these.
const preferred = ["MIT", "Zlib", "BSD-3-Clause", "BSD-2-Clause", "Unicode-3.0", "Apache-2.0"];

const cargo = (...words) =>
  execFileSync("cargo", words, { cwd: root, encoding: "utf8", maxBuffer: 1 << 28, stdio: ["ignore", "pipe", "inherit"] });

// What is linked: no tools of the build, no tests, nothing that runs in the compiler.
const tree = cargo("tree", "--locked", "-e", "normal,no-proc-macro", "--prefix", "none", "--format", "{p}", "--target", target);
const linked = new Set(tree.split("\n").map((line) => line.split(" ").slice(0, 2).join(" ")));
const metadata = JSON.parse(cargo("metadata", "--locked", "--format-version", "1", "--filter-platform", target));
const crates = metadata.packages
  .filter((crate) => crate.name !== "howflat" && linked.has(`${crate.name} v${crate.version}`))
  .sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : a.version < b.version ? -1 : 1));

function chosen(crate) {
  const allowed = (crate.license ?? "").split(/ OR |\//).map((one) => one.trim());
  // "A AND B": both, and then the first says which file to look for.
  const found = preferred.find((one) => allowed.includes(one)) ?? preferred.find((one) => crate.license?.includes(one));
  if (!found) throw new Error(`${crate.name}: what may be done with "${crate.license}"?`);
  return found;
}

// The file of a licence among those that a crate ships, and all that may name its holders.
const isNotice = (name) => /^(licen[sc]e|copying|copyright|notice|unlicense)/i.test(name);
const marks = { MIT: /mit/i, Zlib: /zlib/i, "Apache-2.0": /apache/i, "BSD-3-Clause": /bsd/i, "BSD-2-Clause": /bsd/i, "Unicode-3.0": /unicode/i };
const opening = {
  MIT: /permission is hereby granted, free of charge, to any/i,
  Zlib: /this software is provided 'as-is'/i,
  "Apache-2.0": /apache license/i,
  "BSD-3-Clause": /redistribution and use in source/i,
  "BSD-2-Clause": /redistribution and use in source/i,
  "Unicode-3.0": /unicode license/i,
};
function text(crate, licence) {
  const folder = dirname(crate.manifest_path);
  const names = readdirSync(folder).filter(isNotice).sort();
  names.sort((a, b) => marks[licence].test(b) - marks[licence].test(a));
  const texts = names.map((name) => readFileSync(join(folder, name), "utf8")).filter((all) => opening[licence].test(all));
  // Where a crate ships all its licences in one file, what comes after this one is no part of it.
  const end = licence === "MIT" ? /dealings\s+in\s+the\s+software\./i.exec(texts[0] ?? "") : null;
  const all = end ? texts[0].slice(0, end.index + end[0].length) : texts[0];
  return all?.replace(/\r/g, "") ?? null;
}

const isHolder = (line) => /^\W*(copyright|\(c\)|©)[\s:]*(?!notice|holder|owner|license|and )/i.test(line) && !/\[yyyy\]|\{yyyy\}|<year>/i.test(line);
const plain = (line) => line.replace(/^[\s/*#]+/, "").replace(/\s+/g, " ").trim();
// One text is another's where the same words stand in it.
const words = (body) => body.toLowerCase().replace(/[^a-z0-9]+/g, " ").trim();

const groups = new Map();
for (const crate of crates) {
  const licence = chosen(crate);
  const all = text(crate, licence);
  const lines = (all ?? "").split("\n");
  const holders = licence === "Apache-2.0" ? [] : lines.filter(isHolder).map(plain);
  let body = lines.filter((line) => !isHolder(line)).join("\n");
  // The Apache licence has its conditions only; of the others what is above the permission is a title.
  body = licence === "Apache-2.0" ? "" : body.slice(Math.max(0, body.search(opening[licence])));
  body = body.split(/\n\s*\n/).map((part) => part.split("\n").map(plain).join(" ").trim()).filter(Boolean).join("\n\n");
  const said = holders.length > 0 ? [...new Set(holders)] : crate.authors.length > 0 ? [`by ${crate.authors.map((a) => a.replace(/ <.*/, "")).join(", ")}`] : [];
  const key = `${licence} ${words(body)}`;
  const group = groups.get(key) ?? { licence, body, members: [] };
  group.members.push(`${crate.name} ${crate.version}${said.length > 0 ? `: ${said.join("; ")}` : ""}`);
  groups.set(key, group);
}
// A crate that ships no text has the usual one.
for (const [key, group] of groups) {
  if (group.body !== "" || group.licence === "Apache-2.0") continue;
  const usual = [...groups.values()]
    .filter((other) => other.licence === group.licence && other.body !== "")
    .sort((a, b) => b.members.length - a.members.length)[0];
  if (!usual) throw new Error(`no text of ${group.licence} for ${group.members}`);
  usual.members = [...usual.members, ...group.members].sort();
  groups.delete(key);
}

const rule = "-".repeat(80);
const wrapped = (part) => {
  const lines = [""];
  for (const word of part.split(" ")) {
    const line = lines.at(-1);
    if (line !== "" && line.length + word.length >= 100) lines.push(word);
    else lines[lines.length - 1] = line === "" ? word : `${line} ${word}`;
  }
  return lines.join("\n");
};
const parts = [...groups.values()].sort((a, b) => b.members.length - a.members.length || (a.licence < b.licence ? -1 : 1));
const file =
  [
    "The program howflat is under the MIT licence or the Apache License 2.0, as you like. Linked into it are the crates below, under\nthe licences that are given; where a crate leaves a choice, the first of: " + preferred.join(", ") + ".\nWritten by .ci/notices.mjs.",
    "The standard library of Rust: copyright (c) The Rust Project contributors, under the MIT licence below.",
    "The fonts Howflat Sans, in pictures, are under the SIL Open Font License 1.1:\n\n" + readFileSync(join(root, "src/report/font/OFL.txt"), "utf8").replace(/\r/g, "").trim(),
    ...parts.map(({ licence, body, members }) => {
      const words = licence === "Apache-2.0" ? readFileSync(join(root, "LICENSE-APACHE"), "utf8").trim() : body.split("\n\n").map(wrapped).join("\n\n");
      return `${licence}\n\n${members.join("\n")}\n\n${words}`;
    }),
  ].join(`\n\n${rule}\n\n`) + "\n";

const path = join(root, "NOTICES.txt");
if (process.argv.includes("--check")) {
  if (!existsSync(path) || readFileSync(path, "utf8") !== file) {
    console.error("NOTICES.txt is stale: node .ci/notices.mjs");
    process.exit(1);
  }
} else {
  writeFileSync(path, file);
}

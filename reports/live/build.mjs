// Bundles entry.js into vega.js, with the licence of every package that ends up in it on top.
import { readFileSync, readdirSync, writeFileSync } from "node:fs";
import { build } from "esbuild";

const built = await build({
  entryPoints: ["entry.js"],
  bundle: true,
  minify: true,
  charset: "ascii",
  format: "iife",
  globalName: "vega",
  legalComments: "none",
  metafile: true,
  write: false,
});

const folders = [...new Set(Object.keys(built.metafile.inputs).map((path) => path.match(/^node_modules\/[^/]+/)?.[0]))]
  .filter(Boolean)
  .sort();
// One text for all packages that share it to the letter.
const licences = new Map();
for (const folder of folders) {
  const { name, version, license } = JSON.parse(readFileSync(`${folder}/package.json`, "utf8"));
  const file = readdirSync(folder).find((entry) => /^licen[cs]e/i.test(entry));
  const text = readFileSync(`${folder}/${file}`, "utf8").trim().replaceAll("*/", "* /");
  const key = `${license}\n${text}`;
  licences.set(key, [...(licences.get(key) ?? []), `${name} ${version}`]);
}
const notices = [...licences].map(([text, packages]) => `${packages.join(", ")}\n${text}`).join("\n\n");
const script = built.outputFiles[0].text.trimEnd().replace(/<(?=\/script|!--)/gi, "\\x3c");
writeFileSync("vega.js", `/*\n${notices}\n*/\n${script}\n`);

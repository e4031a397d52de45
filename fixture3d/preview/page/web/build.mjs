/**
 * Builds the page's script and copies its template and style beside the Python side.
 *
 *   node build.mjs            writes ../page.js, ../page.html, ../page.css, ../LICENSE_THREE
 *   node build.mjs --check    builds again and compares; exit code 1 when a committed file is not what comes out
 */
import { readFile, writeFile } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { build } from "esbuild";

const here = dirname(fileURLToPath(import.meta.url));
const target = join(here, "..");

const licence = await readFile(join(here, "node_modules/three/LICENSE"), "utf8");

const bundled = await build({
  absWorkingDir: here,
  entryPoints: ["src/main.js"],
  bundle: true,
  minify: true,
  format: "iife",
  target: ["es2022"],
  charset: "ascii",
  legalComments: "none",
  write: false,
  logLevel: "warning",
  banner: { js: `/*!\nContains three.js, https://threejs.org\n\n${licence.trim()}\n*/` },
});
const style = await build({
  absWorkingDir: here, entryPoints: ["page.css"], minify: true, charset: "ascii", write: false, logLevel: "warning",
});

const files = {
  "page.js": bundled.outputFiles[0].text,
  "page.css": style.outputFiles[0].text,
  "page.html": await readFile(join(here, "page.html"), "utf8"),
  LICENSE_THREE: licence,
};

let wrong = 0;
for (const [name, text] of Object.entries(files)) {
  const path = join(target, name);
  if (!process.argv.includes("--check")) {
    await writeFile(path, text);
    continue;
  }
  const now = await readFile(path, "utf8").catch(() => "");
  if (now === text) continue;
  console.error(`${name} is not what the sources give; run "node build.mjs" in fixture3d/preview/page/web and commit it`);
  wrong = 1;
}
process.exitCode = wrong;

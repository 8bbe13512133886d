import js from "@eslint/js";
import { createNodeResolver, importX } from "eslint-plugin-import-x";
import globals from "globals";
import { existsSync, readdirSync } from "node:fs";
import { fileURLToPath } from "node:url";

const SCRIPTS = new URL("portal/static/js/", import.meta.url);
const TUS = new URL("node_modules/tus-js-client/dist/tus.min.js", import.meta.url);

/** As the page's import map has it: "kitpost/lib/bars" is `portal/static/js/lib/bars.js`. */
const importMap = {
  interfaceVersion: 3,
  name: "import-map",
  resolve(name) {
    if (!name.startsWith("kitpost/")) return { found: false };
    const path = fileURLToPath(name === "kitpost/tus" ? TUS : new URL(`${name.slice("kitpost/".length)}.js`, SCRIPTS));
    return existsSync(path) ? { found: true, path } : { found: false };
  },
};

// What a folder takes from others. One without a row takes nothing, and nobody takes from it.
const MAY_IMPORT = {
  upload: ["lib"],
  page: ["lib"],
  lanes: ["lib"],
  map: ["lib"],
  chart: ["lib"],
  takes: ["lib", "lanes"],
  kit: ["lib", "lanes", "page"],
};
const FOLDERS = readdirSync(SCRIPTS);

function zoneOf(folder) {
  const closed = FOLDERS.filter((other) => other !== folder && !MAY_IMPORT[folder]?.includes(other));
  return { target: `portal/static/js/${folder}`, from: closed.map((other) => `portal/static/js/${other}`) };
}

export default [
  { ignores: [".venv*/", "node_modules/", "**/vendor/"] },
  js.configs.recommended,
  {
    rules: {
      complexity: ["error", 8],
      "max-lines": ["error", 300],
      eqeqeq: ["error", "always", { null: "ignore" }],
      "no-var": "error",
      "prefer-const": "error",
    },
  },
  {
    files: ["portal/static/js/**/*.js"],
    languageOptions: { globals: globals.browser },
    plugins: { "import-x": importX },
    settings: { "import-x/resolver-next": [importMap, createNodeResolver()] },
    rules: {
      "import-x/export": "error",
      "import-x/named": "error",
      "import-x/no-restricted-paths": ["error", { zones: FOLDERS.map(zoneOf) }],
      "import-x/no-cycle": "error",
      "import-x/no-unresolved": "error",
    },
  },
  { files: ["portal/static/js/kit/worker.js"], languageOptions: { globals: globals.serviceworker } },
  { files: ["**/*.cjs", "*.config.js"], languageOptions: { globals: globals.node } },
];

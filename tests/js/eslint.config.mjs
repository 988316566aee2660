// What the linter holds the scripts of map and form and their tests to. Nothing is imported, so that the linter alone has to
// be installed, wherever it lies; 2020 is the language that phones of that year speak.
const browser = ["L", "ResizeObserver", "document", "getComputedStyle", "window"];
const names = (list) => Object.fromEntries(list.map((name) => [name, "readonly"]));

const rules = {
  "no-undef": "error",
  "no-unused-vars": "error",
  "no-redeclare": "error",
  "no-shadow": "error",
  "no-use-before-define": ["error", { functions: false, classes: false, variables: false }],
  "no-duplicate-imports": "error",
  "no-import-assign": "error",
  "no-const-assign": "error",
  "no-dupe-keys": "error",
  "no-dupe-args": "error",
  "no-dupe-class-members": "error",
  "no-dupe-else-if": "error",
  "no-unreachable": "error",
  "no-self-compare": "error",
  "no-self-assign": "error",
  "no-fallthrough": "error",
  "no-unsafe-negation": "error",
  "no-unsafe-optional-chaining": "error",
  "no-loss-of-precision": "error",
  "no-constant-condition": "error",
  "no-empty": "error",
  "no-eval": "error",
  "no-implied-eval": "error",
  "no-new-func": "error",
  "no-script-url": "error",
  "no-console": "error",
  "no-debugger": "error",
  "no-var": "error",
  "prefer-const": "error",
  "prefer-template": "error",
  "object-shorthand": "error",
  "array-callback-return": "error",
  "consistent-return": "off",
  "constructor-super": "error",
  "getter-return": "error",
  "use-isnan": "error",
  "valid-typeof": "error",
  "default-case-last": "error",
  eqeqeq: "error",
  curly: ["error", "multi-line"],
  complexity: ["error", 12],
  "max-lines": ["error", 400],
  "max-lines-per-function": ["error", { max: 40, skipBlankLines: true, skipComments: true }],
  "max-params": ["error", 4],
  "max-depth": ["error", 3],
  // Text goes into the page as text, never as markup.
  "no-restricted-properties": ["error", { object: "document", property: "write" }],
  "no-restricted-syntax": [
    "error",
    { selector: "AssignmentExpression[left.property.name=/^(inner|outer)HTML$/]", message: "Text goes in as text: use make()." },
    { selector: "CallExpression[callee.property.name='insertAdjacentHTML']", message: "Text goes in as text: use make()." },
  ],
};

const linterOptions = { reportUnusedDisableDirectives: "error" };
// What decides, apart from the page: not even `document` may be named there.
const pure = ["geometry", "listing", "placement", "quantities", "standing"].map((name) => `stressmap/output/web/map/${name}.js`);
const overviewPure = ["coding", "order"].map((name) => `stressmap/output/web/overview/${name}.js`);

const formPure = ["checks", "clock", "export_csv", "pad", "places", "qr", "record", "words"].map((name) => `stressmap/output/web/form/${name}.js`);
const worker = "stressmap/output/web/form/offline.js";
const onPhones = ["Blob", "CompressionStream", "File", "Intl", "Response", "TextEncoder", "URL", "document", "fetch", "navigator", "performance", "window"];

export default [
  { ignores: ["stressmap/output/web/leaflet/"] }, // as its makers made it
  {
    files: ["stressmap/output/web/season/*.js"], rules, linterOptions,
    languageOptions: { ecmaVersion: 2020, sourceType: "module", globals: names(browser) },
  },
  {
    files: ["stressmap/output/web/form/*.js"], ignores: [...formPure, worker], rules, linterOptions,
    languageOptions: { ecmaVersion: 2020, sourceType: "module", globals: names(onPhones) },
  },
  { files: formPure, rules, linterOptions, languageOptions: { ecmaVersion: 2020, sourceType: "module", globals: {} } },
  {
    files: [worker], rules, linterOptions,
    languageOptions: { ecmaVersion: 2020, sourceType: "script", globals: names(["FILES", "Request", "VERSION", "caches", "fetch", "self"]) },
  },
  {
    files: ["stressmap/output/web/{map,overview}/*.js"], ignores: [...pure, ...overviewPure], rules, linterOptions,
    languageOptions: { ecmaVersion: 2020, sourceType: "module", globals: names(browser) },
  },
  { files: [...pure, ...overviewPure], rules, linterOptions, languageOptions: { ecmaVersion: 2020, sourceType: "module", globals: {} } },
  {
    files: ["tests/js/*.mjs"], rules, linterOptions,
    languageOptions: { ecmaVersion: 2022, sourceType: "module", globals: names(["process"]) },
  },
];

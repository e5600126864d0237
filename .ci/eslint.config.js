// The scripts of pages. What is not defined, and what is of the wrong type, tsc finds.
import js from "@eslint/js";

export default [
  js.configs.recommended,
  {
    languageOptions: { ecmaVersion: 2022, sourceType: "module" },
    rules: {
      "eqeqeq": "error",
      "max-len": ["error", 100],
      "max-lines": ["error", 200],
      "no-undef": "off",
      "no-var": "error",
      "prefer-const": "error",
    },
  },
];

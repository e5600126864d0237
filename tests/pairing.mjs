// What the page's own module says of takes, for test_pages_pairing.py: JSON in, JSON out.

import { readFileSync } from "node:fs";

const { paired } = await import(process.argv[2]);
const cases = JSON.parse(readFileSync(0, "utf-8"));
const answers = cases.map(({ dues, strokes: told, rule, coming }) => {
  const strokes = told.map(([time, pad, velocity]) => ({ time, pad, velocity }));
  const { met, kinds } = paired(dues, strokes, rule, coming);
  return { met: [...met], kinds: [...kinds] };
});
process.stdout.write(JSON.stringify(answers));

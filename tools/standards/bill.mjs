// Holds bills of materials against CycloneDX's own schema, as its library carries it:
// node bill.mjs FILE.cdx.json... Exit 1 if anything is wrong.
import fs from "node:fs";
import { Spec, Validation } from "@cyclonedx/cyclonedx-library";

const validator = new Validation.JsonStrictValidator(Spec.Version.v1dot6);
const bills = process.argv.slice(2);
if (bills.length === 0) {
  console.error("usage: node bill.mjs FILE.cdx.json...");
  process.exit(2);
}
// A check that can't fail is none: a bill with a licence that SPDX does not have.
const planted = JSON.parse(fs.readFileSync(bills[0], "utf8"));
planted.components[0].licenses = [{ license: { id: "No-Such-Licence" } }];
if (!(await validator.validate(JSON.stringify(planted)))) {
  console.error("the schema lets everything pass");
  process.exit(1);
}
for (const file of bills) {
  const text = fs.readFileSync(file, "utf8");
  const wrong = await validator.validate(text);
  if (wrong) {
    console.error(`${file}:`, wrong);
    process.exitCode = 1;
    continue;
  }
  console.log(`${file}: ${JSON.parse(text).components.length} modules, as CycloneDX 1.6 wants them`);
}

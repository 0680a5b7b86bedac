// Holds a dashboard against the types that Grafana publishes (@grafana/schema):
// node check.mjs FILE.json. Every value must fit its type; what a type does not name
// is told, for a key that is misspelt fits every type. Exit 1 if anything is wrong.
import fs from "node:fs";
import path from "node:path";
import ts from "typescript";

const types = path.resolve(import.meta.dirname, "node_modules/@grafana/schema/dist/types/");
// Which type a picture's options and numbers have, by its kind.
const kinds = { timeseries: "timeseries", stat: "stat", table: "table", "state-timeline": "statetimeline" };
const files = [path.join(types, "index.d.ts"), ...Object.values(kinds).map((k) => path.join(types, `raw/composable/${k}/panelcfg/x/types.gen.d.ts`))];
const program = ts.createProgram(files, { module: ts.ModuleKind.ESNext, moduleResolution: ts.ModuleResolutionKind.Bundler, strict: true, skipLibCheck: true,
  baseUrl: import.meta.dirname, paths: { "@grafana/schema": [path.join(types, "index.d.ts")] } });
const checker = program.getTypeChecker();

function typeOf(file, name) {
  const module = checker.getSymbolAtLocation(program.getSourceFile(file));
  const found = checker.getExportsOfModule(module).find((s) => s.name === name);
  if (!found) return undefined;
  return checker.getDeclaredTypeOfSymbol(found.flags & ts.SymbolFlags.Alias ? checker.getAliasedSymbol(found) : found);
}

// What the data source's part of Grafana reads of a mark, which these types leave to it.
const left = new Set(["expr", "interval", "rawQuery", "resultFormat", "fromAnnotations", "titleFormat", "textFormat", "tagKeys", "tagsColumn", "titleColumn", "textColumn", "timeColumn", "query"]);
let checked = 0;

// wrong lists what is wrong with a value of a type.
function wrong(type, value, at) {
  checked++;
  const F = ts.TypeFlags;
  if (type.flags & (F.Any | F.Unknown)) return [];
  if (type.isUnion()) {
    let best;
    for (const one of type.types.filter((t) => !(t.flags & F.Undefined))) {
      const found = wrong(one, value, at);
      if (found.length === 0) return [];
      if (!best || found.length < best.length) best = found;
    }
    return best;
  }
  if (type.isIntersection()) {
    if (typeof value !== "object" || value === null) return [`${at}: ${JSON.stringify(value)} is no object`];
  } else if (type.flags & (F.StringLiteral | F.NumberLiteral | F.EnumLiteral) && type.value !== undefined) {
    return value === type.value ? [] : [`${at}: ${JSON.stringify(value)} is not ${JSON.stringify(type.value)}`];
  } else if (type.flags & F.BooleanLiteral) {
    return String(value) === type.intrinsicName ? [] : [`${at}: ${JSON.stringify(value)} is not ${type.intrinsicName}`];
  } else if (type.flags & (F.String | F.TemplateLiteral)) {
    return typeof value === "string" ? [] : [`${at}: ${JSON.stringify(value)} is no text`];
  } else if (type.flags & F.Number) {
    return typeof value === "number" ? [] : [`${at}: ${JSON.stringify(value)} is no number`];
  } else if (type.flags & F.Null) {
    return value === null ? [] : [`${at}: ${JSON.stringify(value)} is not null`];
  } else if (type.flags & F.Undefined) {
    return value === undefined ? [] : [`${at} is there`];
  }
  if (checker.isArrayType(type)) {
    const of = checker.getTypeArguments(type)[0];
    return Array.isArray(value) ? value.flatMap((v, i) => wrong(of, v, `${at}[${i}]`)) : [`${at} is no array`];
  }
  if (typeof value !== "object" || value === null || Array.isArray(value)) return [`${at}: ${JSON.stringify(value)} is no object`];
  const out = [], named = new Set();
  for (const p of checker.getPropertiesOfType(type)) {
    named.add(p.name);
    const own = checker.getTypeOfSymbol(p);
    if (value[p.name] !== undefined) out.push(...wrong(own, value[p.name], `${at}.${p.name}`));
    else if (!(p.flags & ts.SymbolFlags.Optional)) out.push(`${at}.${p.name} is missing`);
  }
  const others = checker.getIndexTypeOfType(type, ts.IndexKind.String);
  for (const key of Object.keys(value).filter((k) => !named.has(k))) {
    if (others) out.push(...wrong(others, value[key], `${at}.${key}`));
    else if (!left.has(key)) out.push(`${at}.${key} is not named by its type`);
  }
  return out;
}

const board = JSON.parse(fs.readFileSync(process.argv[2], "utf8"));
const found = wrong(typeOf(files[0], "Dashboard"), board, "dashboard");
for (const p of board.panels ?? []) {
  if (p.type === "row") continue;
  const file = files[1 + Object.keys(kinds).indexOf(p.type)];
  if (!kinds[p.type]) { found.push(`${p.title}: its kind ${p.type} is not known`); continue; }
  found.push(...wrong(typeOf(file, "Options"), p.options, `${p.title}: options`));
  const numbers = typeOf(file, "FieldConfig");
  if (numbers && p.fieldConfig.defaults.custom) found.push(...wrong(numbers, p.fieldConfig.defaults.custom, `${p.title}: custom`));
}
for (const f of found) console.error(f);
if (checked < 500) { console.error(`only ${checked} values were looked at`); process.exit(1); }
console.log(`${checked} values looked at, ${found.length} wrong`);
process.exit(found.length ? 1 : 0);

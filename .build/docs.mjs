// Writes lib/API.md from the doc comments of everything lib/index.ts exports. `--check` fails when the page is not up to date.
import { readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';

const ts = createRequire(import.meta.url)('typescript');
const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const entry = join(root, 'lib/index.ts');
const page = join(root, 'lib/API.md');

const program = ts.createProgram([entry], {
  strict: true,
  target: ts.ScriptTarget.ES2023,
  module: ts.ModuleKind.CommonJS,
  esModuleInterop: true,
  skipLibCheck: true,
});
const checker = program.getTypeChecker();
const exported = checker.getExportsOfModule(checker.getSymbolAtLocation(program.getSourceFile(entry)));

const rooms = new Map();
for (const symbol of exported) {
  const target = symbol.flags & ts.SymbolFlags.Alias ? checker.getAliasedSymbol(symbol) : symbol;
  const declaration = target.declarations?.[0];
  if (!declaration) continue;
  const file = relative(root, declaration.getSourceFile().fileName);
  const text = entryOf(symbol.name, target, declaration);
  if (text) rooms.set(file, [...(rooms.get(file) ?? []), text]);
}

const body = [...rooms]
  .sort(([a], [b]) => (a < b ? -1 : 1))
  .map(([file, entries]) => `## ${file}\n\n${headOf(file)}${entries.join('\n')}`)
  .join('\n');
const made = `# The library, function by function\n\nMade by \`npm run docs\` from the doc comments; every example is run in the tests.\n\n${body}`;

if (process.argv.includes('--check')) {
  if (readFileSync(page, 'utf8') !== made) {
    console.error('lib/API.md is not up to date: npm run docs');
    process.exitCode = 1;
  }
} else writeFileSync(page, made);

function headOf(file) {
  const comment = /^\s*\/\*\*([\s\S]*?)\*\//.exec(readFileSync(join(root, file), 'utf8'))?.[1];
  return comment ? `${plain(comment)}\n\n` : '';
}

function plain(comment) {
  return comment
    .split('\n')
    .map((line) => line.replace(/^\s*\* ?/, '').trimEnd())
    .join('\n')
    .trim();
}

function entryOf(name, symbol, declaration) {
  const text = ts.displayPartsToString(symbol.getDocumentationComment(checker));
  const tags = symbol.getJsDocTags(checker).map((tag) => tagLine(tag));
  if (ts.isFunctionDeclaration(declaration)) {
    const signature = checker.getSignatureFromDeclaration(declaration);
    return `### ${name}\n\n\`\`\`ts\n${name}${checker.signatureToString(signature)}\n\`\`\`\n\n${text}\n\n${tags.join('\n')}\n`;
  }
  return text ? `### ${name}\n\n${text}\n\n${tags.join('\n')}\n` : '';
}

function tagLine(tag) {
  const text = ts.displayPartsToString(tag.text);
  return tag.name === 'example' ? `\`\`\`ts\n${text}\n\`\`\`` : `- ${tag.name}: ${text.replace(/\s*\n\s*/g, ' ')}`;
}

// Evaluates the official FHIR R4 invariants on every resource of a folder.
//
//     node - NPM_FOLDER RESOURCES_FOLDER <invariants.js
//
// The invariants are read from the StructureDefinitions in the npm package
// hl7.fhir.r4.examples, and evaluated with the npm package fhirpath; both are
// looked for in NPM_FOLDER/node_modules. One JSON object on standard output:
// how many resources and evaluations, which invariants the engine cannot
// evaluate and why, and every violation found.
'use strict';

const fs = require('fs');
const path = require('path');

const [npmFolder, resourcesFolder] = process.argv.slice(2);
const modules = path.join(npmFolder, 'node_modules');
const fhirpath = require(path.join(modules, 'fhirpath'));
const r4 = require(path.join(modules, 'fhirpath', 'fhir-context', 'r4'));

// What a single resource and this engine cannot answer. Narratives are checked
// elsewhere.
const notEvaluated = {
  htmlChecks: 'the engine has no function htmlChecks()',
  resolve: 'resolve() would fetch another resource',
};
const options = { traceFn: () => {} }; // standard output is for the report

const report = { resources: 0, evaluated: 0, notEvaluated: {}, problems: [] };

// definitions: type name → { elements: path → ElementDefinition }.
const definitions = {};
for (const bundle of ['Bundle-resources.json', 'Bundle-types.json']) {
  const file = path.join(modules, 'hl7.fhir.r4.examples', bundle);
  for (const { resource } of JSON.parse(fs.readFileSync(file, 'utf8')).entry) {
    if (resource.resourceType !== 'StructureDefinition' || resource.derivation === 'constraint') continue;
    const elements = {};
    for (const element of resource.snapshot.element) elements[element.path] = element;
    definitions[resource.type] = { kind: resource.kind, elements };
  }
}

const compiled = new Map();

// mends put right what some invariants were published with, so that the engine
// understands them as they are meant.
const mends = [
  [/descendants\(\)\.as\(/g, 'descendants().ofType('], // dom-3: "as" takes one item, and these are many
  [/ is Boolean\b/g, ' is boolean'], // que-7: no element of a resource is the language's own Boolean
  [/\\\\\\'/g, "\\'"], // eld-19: regular expressions need no escape for ' @ :
  [/\\\\([@:])/g, '$1'], // eld-16, eld-19
  [/\\\\\[x\]\)/g, '\\\\[x\\\\])'], // eld-20: but they need one for ]
];

function compile(base, published) {
  const key = base + '\n' + published;
  if (!compiled.has(key)) {
    const expression = mends.reduce((text, [from, to]) => text.replace(from, to), published);
    const isRoot = !base.includes('.') && definitions[base].kind === 'resource';
    compiled.set(key, fhirpath.compile(isRoot ? expression : { base, expression }, r4, options));
  }
  return compiled.get(key);
}

// evaluate runs the constraints of one element definition on one node.
function evaluate(node, element, base, at, done) {
  for (const constraint of element.constraint || []) {
    if (!constraint.expression || done.has(constraint.key)) continue;
    done.add(constraint.key);
    const skip = Object.keys(notEvaluated).find((name) => constraint.expression.includes(name + '('));
    if (skip) {
      report.notEvaluated[constraint.key] = notEvaluated[skip];
      continue;
    }
    const problem = { file: at.file, path: at.path, key: constraint.key, severity: constraint.severity, human: constraint.human };
    try {
      const result = compile(base, constraint.expression)(node, { resource: at.resource, rootResource: at.root });
      report.evaluated++;
      // An empty result is no violation: the rule has nothing to say here.
      if (result.length > 0 && result[0] !== true) report.problems.push(problem);
    } catch (error) {
      report.problems.push({ ...problem, severity: 'error', human: 'cannot be evaluated: ' + error.message });
    }
  }
}

const isObject = (value) => value !== null && typeof value === 'object' && !Array.isArray(value);

// childOf finds the definition of a property: by its name, or as one form of a
// choice ("valueQuantity" of "value[x]").
function childOf(definition, parent, property) {
  const named = definition.elements[parent + '.' + property];
  if (named) return { element: named, type: named.type && named.type[0].code };
  for (const [elementPath, element] of Object.entries(definition.elements)) {
    if (!elementPath.startsWith(parent + '.') || !elementPath.endsWith('[x]')) continue;
    const stem = elementPath.slice(parent.length + 1, -3);
    const form = property.slice(stem.length).toLowerCase();
    const type = (element.type || []).find((one) => one.code.toLowerCase() === form);
    if (!stem.includes('.') && property.startsWith(stem) && type) return { element, type: type.code };
  }
  return null;
}

function visitResource(resource, at, root) {
  report.resources++;
  const type = resource.resourceType;
  const definition = definitions[type];
  if (!definition) {
    report.problems.push({ file: at.file, path: at.path, key: 'type', severity: 'error', human: 'no R4 resource: ' + type });
    return;
  }
  const here = { file: at.file, path: at.path, resource, root: root || resource };
  evaluate(resource, definition.elements[type], type, here, new Set());
  visitChildren(resource, definition, type, here);
}

function visitChildren(node, definition, parent, at) {
  for (const [property, value] of Object.entries(node)) {
    if (property === 'resourceType') continue;
    const ofPrimitive = property.startsWith('_');
    const found = childOf(definition, parent, ofPrimitive ? property.slice(1) : property);
    if (!found) {
      report.problems.push({ file: at.file, path: at.path + '.' + property, key: 'unknown', severity: 'error', human: 'no such element' });
      continue;
    }
    const values = Array.isArray(value) ? value : [value];
    values.forEach((one, index) => {
      if (one === null) return;
      const place = at.path + '.' + property + (Array.isArray(value) ? '[' + index + ']' : '');
      if (ofPrimitive) visitChildren(one, definitions.Element, 'Element', { ...at, path: place });
      else visitElement(one, found, definition, { ...at, path: place });
    });
  }
}

function visitElement(node, { element, type }, definition, at) {
  if (isObject(node) && node.resourceType) {
    // A contained resource is part of its container; an entry stands alone.
    visitResource(node, at, element.path.endsWith('.contained') ? at.root : null);
    return;
  }
  const done = new Set();
  if (!isObject(node)) done.add('ele-1'); // a primitive with a value; empties are looked for elsewhere
  evaluate(node, element, element.path, at, done);
  if (!isObject(node)) return;
  const inline = element.contentReference || type === 'BackboneElement' || type === 'Element';
  if (inline) {
    const target = element.contentReference ? element.contentReference.replace(/^.*#/, '') : element.path;
    if (element.contentReference) evaluate(node, definition.elements[target], target, at, done);
    visitChildren(node, definition, target, at);
    return;
  }
  const own = definitions[type];
  if (!own) {
    report.problems.push({ file: at.file, path: at.path, key: 'type', severity: 'error', human: 'an object where ' + type + ' is due' });
    return;
  }
  evaluate(node, own.elements[type], type, at, done);
  visitChildren(node, own, type, at);
}

for (const name of fs.readdirSync(resourcesFolder).sort()) {
  if (!name.endsWith('.json')) continue;
  const resource = JSON.parse(fs.readFileSync(path.join(resourcesFolder, name), 'utf8'));
  visitResource(resource, { file: name, path: resource.resourceType }, null);
}
process.stdout.write(JSON.stringify(report, null, 1) + '\n');

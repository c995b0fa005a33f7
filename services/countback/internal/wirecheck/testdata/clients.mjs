// Two general-purpose clients, fhirclient and fhir-kit-client, use a running
// server as their users would. Arguments: the folder of the npm packages, and the
// base of the server. Prints a line for each step that went well; anything else
// ends it with a failure.
import assert from 'node:assert/strict'
import { createRequire } from 'node:module'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'

const [packages, base] = process.argv.slice(2)
const modules = join(packages, 'node_modules')
const require = createRequire(join(modules, 'x.js'))
const smart = require('fhirclient')
const { Client: Kit } = await import(pathToFileURL(join(modules, 'fhir-kit-client', 'dist', 'index.js')))

const person = n => ({
  resourceType: 'Patient', identifier: [{ system: 'https://registry.larkspindle.example/person', value: 'client-' + n }],
  name: [{ family: 'Clientwick', given: ['Number' + n] }], gender: 'female', birthDate: '1958-03-17',
})
const known = n => 'identifier=https://registry.larkspindle.example/person|client-' + n
const order = (n, subject) => ({
  resourceType: 'ServiceRequest', identifier: [{ system: 'https://orders.larkspindle.example/surgery', value: 'client-o' + n }],
  status: 'active', intent: 'order', code: { coding: [{ system: 'http://snomed.info/sct', code: '52734007' }], text: 'right hip' },
  subject: { reference: subject }, bodySite: [{ text: 'right hip' }],
})
const booking = (n, subject, basedOn, day) => ({
  resourceType: 'Appointment', identifier: [{ system: 'https://northwing.larkspindle.example/booking', value: 'client-b' + n }],
  status: 'booked', start: day + 'T10:00:00-06:00', end: day + 'T12:30:00-06:00', basedOn: [{ reference: basedOn }],
  participant: [{ actor: { reference: subject }, status: 'accepted' }],
})
const operation = (n, type) => {
  const [p, o] = ['urn:uuid:1c3b5a1e-7c1c-4a53-9d2f-3f4de0a6c0' + n + '1', 'urn:uuid:1c3b5a1e-7c1c-4a53-9d2f-3f4de0a6c0' + n + '2']
  return { resourceType: 'Bundle', type, entry: [
    { fullUrl: p, resource: person(n), request: { method: 'POST', url: 'Patient', ifNoneExist: known(n) } },
    { fullUrl: o, resource: order(n, p), request: { method: 'PUT', url: 'ServiceRequest?identifier=https://orders.larkspindle.example/surgery|client-o' + n } },
    { resource: booking(n, p, o, '2027-01-11'), request: { method: 'PUT', url: 'Appointment?identifier=https://northwing.larkspindle.example/booking|client-b' + n } },
  ] }
}

let steps = 0
const step = async (name, run) => {
  try { await run() } catch (e) { e.message = name + ': ' + e.message; throw e }
  steps++
  console.log('ok ' + name)
}
const status = async (code, run) => {
  await assert.rejects(run, e => {
    assert.equal(e.status ?? e.statusCode ?? e.response?.status, code, e.message)
    return true
  })
}

// ---- fhirclient

const nothing = { get: async () => undefined, set: async (_, v) => v, unset: async () => true }
const one = smart({ headers: {}, url: '/' }, {}, nothing).client({ serverUrl: base })
const made = { }
await step('fhirclient: capabilities', async () => {
  assert.equal(await one.getFhirRelease(), 4)
  assert.equal((await one.getFhirVersion()), '4.0.1')
})
await step('fhirclient: create', async () => {
  made.patient = await one.create(person(1))
  assert.match(made.patient.id, /.+/)
  assert.equal(made.patient.meta.versionId, '1')
})
await step('fhirclient: create unless it exists', async () => {
  const again = await one.request({ url: 'Patient', method: 'POST', body: JSON.stringify(person(1)), headers: { 'content-type': 'application/fhir+json', 'if-none-exist': known(1) } })
  assert.equal(again.id, made.patient.id)
})
await step('fhirclient: update', async () => {
  made.patient = await one.update({ ...made.patient, gender: 'other' })
  assert.equal(made.patient.meta.versionId, '2')
})
await step('fhirclient: conditional update', async () => {
  const body = person(1)
  made.patient = await one.request({ url: 'Patient?' + known(1), method: 'PUT', body: JSON.stringify(body), headers: { 'content-type': 'application/fhir+json' } })
  assert.equal(made.patient.meta.versionId, '3')
})
await step('fhirclient: patch', async () => {
  const patched = await one.patch('Patient/' + made.patient.id, [{ op: 'replace', path: '/birthDate', value: '1958-03-18' }])
  assert.equal(patched.birthDate, '1958-03-18')
  await status(422, () => one.patch('Patient/' + made.patient.id, [{ op: 'test', path: '/gender', value: 'male' }]))
})
await step('fhirclient: transaction', async () => {
  const out = await one.request({ url: '', method: 'POST', body: JSON.stringify(operation(2, 'transaction')), headers: { 'content-type': 'application/fhir+json' } })
  assert.deepEqual(out.entry.map(e => e.response.status), ['201 Created', '201 Created', '201 Created'])
})
await step('fhirclient: search with what belongs to it', async () => {
  const found = await one.request({ url: 'Appointment?patient.' + known(2) + '&_include=Appointment:patient&_include=Appointment:based-on' })
  assert.deepEqual(found.entry.map(e => [e.resource.resourceType, e.search.mode]),
    [['Appointment', 'match'], ['Patient', 'include'], ['ServiceRequest', 'include']])
})
await step('fhirclient: pages, followed and laid flat', async () => {
  const total = (await one.request('Task?_summary=count')).total
  assert.ok(total > 50)
  const all = await one.request('Task?_count=20&_sort=_id', { pageLimit: 0, flat: true })
  assert.equal(all.length, total)
  assert.equal(new Set(all.map(t => t.id)).size, total)
})
await step('fhirclient: references, followed', async () => {
  const found = await one.request('Task?_count=1&patient.' + known(2))
  const task = await one.request('Task/' + found.entry[0].resource.id, { resolveReferences: ['for', 'focus'] })
  assert.equal(task.for.name[0].family, 'Clientwick')
  assert.equal(task.focus.resourceType, 'ServiceRequest')
})
await step('fhirclient: delete', async () => {
  const gone = await one.create(person(7))
  await one.delete('Patient/' + gone.id)
  await status(410, () => one.request('Patient/' + gone.id))
})
await step('fhirclient: an error says what is wrong', async () => {
  await assert.rejects(() => one.create({ resourceType: 'Patient', gender: 'none' }), /Patient\.gender/)
})

// ---- fhir-kit-client

const two = new Kit({ baseUrl: base })
await step('fhir-kit-client: capabilities', async () => {
  const cs = await two.capabilityStatement()
  assert.equal(cs.fhirVersion, '4.0.1')
  assert.ok(cs.rest[0].resource.find(r => r.type === 'Task').interaction.some(i => i.code === 'patch'))
})
await step('fhir-kit-client: create and read', async () => {
  made.two = await two.create({ resourceType: 'Patient', body: person(3) })
  assert.deepEqual(await two.read({ resourceType: 'Patient', id: made.two.id }), made.two)
  assert.deepEqual(await two.vread({ resourceType: 'Patient', id: made.two.id, version: '1' }), made.two)
})
await step('fhir-kit-client: create unless it exists', async () => {
  const again = await two.create({ resourceType: 'Patient', body: person(3), options: { headers: { 'If-None-Exist': known(3) } } })
  assert.equal(again.id, made.two.id)
})
await step('fhir-kit-client: update, and not over somebody else', async () => {
  const body = { ...made.two, gender: 'other' }
  const updated = await two.update({ resourceType: 'Patient', id: made.two.id, body, options: { headers: { 'If-Match': 'W/"1"' } } })
  assert.equal(updated.meta.versionId, '2')
  await status(412, () => two.update({ resourceType: 'Patient', id: made.two.id, body, options: { headers: { 'If-Match': 'W/"1"' } } }))
})
await step('fhir-kit-client: conditional update', async () => {
  const updated = await two.update({ resourceType: 'Patient', searchParams: { identifier: 'https://registry.larkspindle.example/person|client-3' }, body: person(3) })
  assert.equal(updated.id, made.two.id)
  assert.equal(updated.meta.versionId, '3')
})
await step('fhir-kit-client: patch', async () => {
  const patched = await two.patch({ resourceType: 'Patient', id: made.two.id, jsonPatch: [{ op: 'add', path: '/active', value: true }] })
  assert.equal(patched.active, true)
})
await step('fhir-kit-client: batch and transaction', async () => {
  const out = await two.batch({ body: { resourceType: 'Bundle', type: 'batch', entry: [
    { request: { method: 'GET', url: 'Patient/' + made.two.id } }, { request: { method: 'GET', url: 'Patient/none' } },
  ] } })
  assert.deepEqual(out.entry.map(e => e.response.status), ['200 OK', '404 Not Found'])
  const done = await two.transaction({ body: operation(4, 'transaction') })
  assert.equal(done.entry.length, 3)
})
await step('fhir-kit-client: search by GET and by POST', async () => {
  const params = { 'patient.identifier': 'https://registry.larkspindle.example/person|client-4', _include: 'Appointment:patient' }
  const byGet = await two.search({ resourceType: 'Appointment', searchParams: params })
  const byPost = await two.search({ resourceType: 'Appointment', searchParams: params, options: { postSearch: true } })
  assert.equal(byGet.total, 1)
  assert.equal(byGet.entry.length, 2)
  assert.deepEqual(byPost.entry, byGet.entry)
})
await step('fhir-kit-client: pages', async () => {
  let page = await two.search({ resourceType: 'Task', searchParams: { _count: 30 } })
  const total = page.total
  const ids = new Set()
  for (; page; page = await two.nextPage({ bundle: page })) for (const e of page.entry) ids.add(e.resource.id)
  assert.equal(ids.size, total)
})
await step('fhir-kit-client: histories', async () => {
  const past = await two.history({ resourceType: 'Patient', id: made.two.id })
  assert.deepEqual(past.entry.map(e => e.resource.meta.versionId), ['4', '3', '2', '1'])
  assert.equal((await two.typeHistory({ resourceType: 'Task' })).type, 'history')
  assert.equal((await two.systemHistory()).type, 'history')
})
await step('fhir-kit-client: operations', async () => {
  const told = await two.operation({ name: '$foresee', input: booking(9, 'Patient/' + made.two.id, 'ServiceRequest/none', '2027-02-01') })
  assert.equal(told.resourceType, 'Parameters')
  const outcome = await two.operation({ name: '$validate', resourceType: 'Patient', input: person(8) })
  assert.equal(outcome.resourceType, 'OperationOutcome')
})
await step('fhir-kit-client: a Task is worked', async () => {
  const found = await two.search({ resourceType: 'Task', searchParams: { 'patient.identifier': 'https://registry.larkspindle.example/person|client-4', status: 'requested', _count: 1 } })
  const task = found.entry[0].resource
  const moved = await two.patch({ resourceType: 'Task', id: task.id, jsonPatch: [{ op: 'test', path: '/status', value: 'requested' }, { op: 'replace', path: '/status', value: 'accepted' }] })
  assert.equal(moved.status, 'accepted')
})
await step('fhir-kit-client: delete', async () => {
  await two.delete({ resourceType: 'Patient', id: made.two.id })
  await status(410, () => two.read({ resourceType: 'Patient', id: made.two.id }))
})
console.log(steps + ' steps of clients went well')

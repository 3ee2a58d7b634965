// The records: moulds and how far they are worn, castings, and what may have caused a defect.
import { api } from './api'
import { nav } from './batches'
import { h, num, rebuild } from './dom'
import { keep, kept } from './walk/kept'
import { newKey, OUTCOMES, recordApi, today, type Casting, type Mould } from './books'

const TABLES = ['moulds', 'shots', 'mixes', 'lots', 'runs'] as const

export async function records(app: HTMLElement): Promise<void> {
  document.title = 'Records · mouldwright'
  const [moulds, jobs, defects] = await Promise.all([recordApi.moulds(), api.jobs(), recordApi.defects()])
  let mould = new URLSearchParams(location.search).get('mould') ?? ''
  const castingBox = h('section', { 'aria-labelledby': 'castings-title' })
  const folderOf = (part: string) => jobs.find((j) => j.name === part && j.has_report)?.id ?? ''
  const list = async () => {
    const all = await recordApi.castings({ mould })
    rebuild(castingBox, h('h2', { id: 'castings-title' }, 'Castings'),
      moulds.length ? h('label', { class: 'field' }, h('span', {}, 'Of'), h('select', { id: 'of-mould', 'data-key': 'of-mould', change: (e) => { mould = (e.target as HTMLSelectElement).value; void list() } }, h('option', { value: '' }, 'all moulds'), ...moulds.map((m) => h('option', { value: m.id, selected: m.id === mould }, `${m.name} (${m.id})`)))) : null,
      all.length ? h('ul', { class: 'plain castings-list' }, ...all.map((c) => casting(c, moulds, folderOf))) : h('p', { class: 'soft' }, 'None yet.'))
  }
  const refresh = () => void records(app)
  app.replaceChildren(h('main', { class: 'page wide' }, nav(), h('h1', {}, 'Records'),
    h('section', { 'aria-labelledby': 'moulds-title' }, h('h2', { id: 'moulds-title' }, 'Moulds'),
      moulds.length ? h('ul', { class: 'plain moulds-list' }, ...moulds.map(wear)) : h('p', { class: 'soft' }, 'None yet. A mould is put down once; its castings count its wear.')),
    castingBox, addMould(jobs.filter((j) => j.has_report && !j.refused).map((j) => j.name), refresh), moulds.length ? addCasting(moulds, defects, refresh) : '',
    h('section', { 'aria-labelledby': 'export-title' }, h('h2', { id: 'export-title' }, 'Take them along'), h('p', { class: 'gets' }, h('a', { class: 'get', href: '/api/records/export/records.xlsx', download: true }, 'All, XLSX'), ...TABLES.map((t) => h('a', { class: 'get', href: `/api/records/export/${t}.csv`, download: true }, `${t}, CSV`))),
      h('p', { class: 'soft' }, 'A backup that can be restored: mouldwright record backup FILE.'))))
  await list()
}

function wear(m: Mould): HTMLElement {
  const used = m.expected_shots ? m.life.fillings / m.expected_shots : 0
  return h('li', {}, h('strong', {}, m.name), ` ${m.id}, of ${m.job}${m.retired_on ? `, retired ${m.retired_on}` : ''}`, h('span', { class: 'soft block' }, m.life.words),
    m.expected_shots ? h('progress', { max: 1, value: Math.min(1, used), 'aria-label': `${m.name}: ${m.life.fillings} of ${m.expected_shots} fillings` }) : null)
}

function casting(c: Casting, moulds: Mould[], folderOf: (part: string) => string): HTMLElement {
  const of = moulds.find((m) => m.id === c.mould)
  const why = h('div', { class: 'causes' })
  const ask = async (code: string) => {
    try {
      const list = await recordApi.causes(c.id, code, of ? folderOf(of.job) : '')
      rebuild(why, h('h3', {}, `What may have made "${code}"`), list.length ? h('ol', {}, ...list.slice(0, 5).map((q) => h('li', {}, h('strong', {}, q.words), h('span', { class: 'block' }, q.why),
        ...(q.for ?? []).map((w) => h('span', { class: 'block' }, `for: ${w}`)), ...(q.against ?? []).map((w) => h('span', { class: 'block soft' }, `against: ${w}`)), h('span', { class: 'block remedy' }, q.do), h('span', { class: 'block soft' }, q.source)))) : h('p', {}, 'Nothing is known to cause it.'))
    } catch (e) {
      rebuild(why, h('p', { class: 'error', role: 'alert' }, (e as Error).message))
    }
  }
  const weight = c.casting_g ? `, ${num(c.casting_g, 2)} g${c.predicted_g ? ` (${num(c.predicted_g, 2)} g predicted)` : ''}` : ''
  return h('li', {}, h('span', {}, h('strong', {}, OUTCOMES[c.outcome] ?? c.outcome), ` ${c.id}, ${of?.name ?? c.mould}, ${new Date(c.poured_at).toLocaleString('en-GB', { dateStyle: 'medium', timeStyle: 'short' })}, ${c.operator}${weight}`), c.notes ? h('span', { class: 'soft block' }, c.notes) : null,
    c.defects?.length ? h('span', { class: 'gets' }, ...c.defects.map((d) => h('button', { class: 'small', 'data-key': `why-${c.id}-${d.code}`, click: () => void ask(d.code) }, `${d.code}${d.place ? ` at ${d.place}` : ''}: why?`))) : null, why)
}

function addMould(parts: string[], done: () => void): HTMLElement {
  const words = h('p', { class: 'error', role: 'alert' })
  const name = h('input', { id: 'new-name', required: true, maxlength: 80 })
  const part = h('input', { id: 'new-part', required: true, maxlength: 80, list: 'parts', value: parts[0] ?? '' })
  const made = h('input', { id: 'new-made', type: 'date', required: true, value: today() })
  const shots = h('input', { id: 'new-shots', type: 'number', min: 0, step: 1, value: 50 })
  const by = h('input', { id: 'new-by', required: true, maxlength: 80, value: kept('operator', '') })
  let key = newKey()
  return h('details', { 'data-key': 'new-mould' }, h('summary', {}, 'Put a mould down'), h('form', { class: 'card', submit: (e) => {
    e.preventDefault()
    keep('operator', by.value)
    void recordApi.addMould({ name: name.value, job: part.value, made_on: made.value, expected_shots: Number(shots.value), operator: by.value, key }).then(done, (err: Error) => { key = newKey(); words.textContent = err.message })
  } }, row('Called', name), row('Of the part', part, h('datalist', { id: 'parts' }, ...parts.map((p) => h('option', { value: p })))), row('Made on', made), row('Expected fillings (0: not known)', shots), row('Your name', by), h('div', { class: 'row' }, h('button', { class: 'primary', 'data-key': 'save-mould' }, 'Put it down')), words))
}

function addCasting(moulds: Mould[], defects: { code: string; words: string }[], done: () => void): HTMLElement {
  const words = h('p', { class: 'error', role: 'alert' })
  const mould = h('select', { id: 'cast-mould' }, ...moulds.filter((m) => !m.retired_on).map((m) => h('option', { value: m.id }, `${m.name} (${m.id})`)))
  const outcome = h('select', { id: 'cast-outcome' }, ...Object.entries(OUTCOMES).map(([v, w]) => h('option', { value: v }, w)))
  const weight = h('input', { id: 'cast-weight', type: 'number', min: 0, step: 'any' })
  const defect = h('select', { id: 'cast-defect' }, h('option', { value: '' }, 'none'), ...defects.map((d) => h('option', { value: d.code }, `${d.code}: ${d.words}`)))
  const place = h('input', { id: 'cast-place', maxlength: 80 })
  const by = h('input', { id: 'cast-by', required: true, maxlength: 80, value: kept('operator', '') })
  let key = newKey()
  return h('details', { 'data-key': 'new-casting' }, h('summary', {}, 'Put a casting down'), h('form', { class: 'card', submit: (e) => {
    e.preventDefault()
    keep('operator', by.value)
    void recordApi.addCasting({ mould: mould.value, outcome: outcome.value, operator: by.value, key, ...(weight.value ? { casting_g: Number(weight.value) } : {}), ...(defect.value ? { defects: [{ code: defect.value, place: place.value }] } : {}) }).then(done, (err: Error) => { key = newKey(); words.textContent = err.message })
  } }, row('Mould', mould), row('It came out', outcome), row('Weight, g', weight), row('Defect', defect), row('Where', place), row('Your name', by), h('div', { class: 'row' }, h('button', { class: 'primary', 'data-key': 'save-casting' }, 'Put it down')), words))
}

const row = (label: string, field: HTMLElement, ...more: HTMLElement[]) => h('label', { class: 'field' }, h('span', {}, label), field, ...more)

// After the steps: what came out of the mould.
import { h, rebuild } from '../dom'
import { kept } from './kept'
import { newKey, server, type Casting, type Mould, type Run } from './model'

const OUTCOMES: [string, string][] = [['good', 'Good'], ['mended', 'Mended'], ['scrap', 'Scrap'], ['pending', 'Not judged yet']]

/** A form that puts castings of a run down, one after the other. */
export function castings(run: Run): HTMLElement {
  const box = h('div', { class: 'castings' }, h('p', { class: 'soft' }, 'Reading the records …'))
  void fill(box, run)
  return box
}

async function fill(box: HTMLElement, run: Run): Promise<void> {
  let moulds: Mould[]
  let defects: { code: string; words: string }[]
  let before: { id: string; run?: string; outcome: string }[]
  try {
    ;[moulds, defects, before] = await Promise.all([server.moulds(), server.defects(), server.castings(run.job)])
  } catch (e) {
    rebuild(box, h('p', { class: 'error', role: 'alert' }, (e as Error).message), h('button', { class: 'big', click: () => void fill(box, run) }, 'Try again'))
    return
  }
  const own = moulds.filter((m) => m.job === run.job && !m.retired_on)
  const mine = before.filter((c) => c.run === run.id)
  const put = mine.length ? h('p', {}, `Put down of this run: ${mine.map((c) => `${c.id} ${c.outcome}`).join(', ')}.`) : null
  if (!own.length) {
    rebuild(box, put, newMould(box, run))
    return
  }
  const operator = kept('operator', '') || run.operator
  const words = h('p', { class: 'error', role: 'alert' })
  const mould = h('select', { id: 'mould-of' }, ...own.map((m) => h('option', { value: m.id, selected: m.id === run.mould }, `${m.name} (${m.id})`)))
  const weight = h('input', { id: 'weight', type: 'number', inputmode: 'decimal', step: 'any', min: 0 })
  const notes = h('textarea', { id: 'notes', rows: 2, maxlength: 2000 })
  const ticks = defects.map((d) => ({ code: d.code, box: h('input', { type: 'checkbox', id: 'defect-' + d.code }), words: d.words }))
  let key = newKey()
  const save = (outcome: string) => {
    const c: Casting = { mould: mould.value, run: run.id, outcome, operator, key, ...(weight.value ? { casting_g: Number(weight.value) } : {}), ...(notes.value ? { notes: notes.value } : {}) }
    const found = ticks.filter((t) => t.box.checked).map((t) => ({ code: t.code, place: '' }))
    if (found.length) c.defects = found
    void server.addCasting(c).then(() => fill(box, run), (e: Error) => {
      if (!/does not answer/.test(e.message)) key = newKey()
      words.textContent = e.message
    })
  }
  rebuild(box, put,
    h('label', { class: 'line' }, h('span', {}, 'Mould'), mould),
    h('label', { class: 'line' }, h('span', {}, 'Weight of the casting, g (if weighed)'), weight),
    h('details', { 'data-key': 'defects' }, h('summary', {}, 'Defects'), h('ul', { class: 'plain defects' }, ...ticks.map((t) => h('li', {}, h('label', { class: 'tick' }, t.box, h('span', {}, h('strong', {}, t.code), ` ${t.words}`)))))),
    h('label', { class: 'line' }, h('span', {}, 'Anything worth keeping'), notes),
    h('div', { class: 'outcomes', role: 'group', 'aria-label': 'How it came out' }, ...OUTCOMES.map(([code, label]) => h('button', { class: code === 'good' ? 'primary big' : 'big', 'data-key': 'outcome-' + code, click: () => save(code) }, label))), words)
}

function newMould(box: HTMLElement, run: Run): HTMLElement {
  const words = h('p', { class: 'error', role: 'alert' })
  const name = h('input', { id: 'mould-name', required: true, maxlength: 80, value: run.job + ' A' })
  const key = newKey()
  return h('form', { submit: (e) => {
    e.preventDefault()
    const today = new Date()
    const made = `${today.getFullYear()}-${String(today.getMonth() + 1).padStart(2, '0')}-${String(today.getDate()).padStart(2, '0')}`
    void server.addMould({ name: name.value, job: run.job, family: run.plan?.family ?? '', made_on: made, operator: kept('operator', '') || run.operator, key }).then(() => fill(box, run), (err: Error) => (words.textContent = err.message))
  } }, h('p', {}, 'The records hold no mould of this part yet. Put it down first: castings count its wear.'), h('label', { class: 'line' }, h('span', {}, 'What it is called'), name), h('button', { class: 'primary big', 'data-key': 'add-mould' }, 'Put the mould down'), words)
}

// After the steps: what came out of the mould.
import { h, rebuild, sentence } from '../dom'
import { newKey, OUTCOMES, recordApi, today, type Casting, type Mould, type NewCasting } from '../books'
import { kept } from './kept'
import type { Run } from './model'

/** A form that puts castings of a run down, one after the other. */
export function castings(run: Run): HTMLElement {
  const box = h('div', { class: 'castings' }, h('p', { class: 'soft' }, 'Reading the records …'))
  void fill(box, run)
  return box
}

async function fill(box: HTMLElement, run: Run): Promise<void> {
  let moulds: Mould[]
  let defects: { code: string; words: string }[]
  let before: Casting[]
  try {
    ;[moulds, defects, before] = await Promise.all([recordApi.moulds(), recordApi.defects(), recordApi.castings({ job: run.job })])
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
    const c: NewCasting = { mould: mould.value, run: run.id, outcome, operator, key, ...(weight.value ? { casting_g: Number(weight.value) } : {}), ...(notes.value ? { notes: notes.value } : {}) }
    const found = ticks.filter((t) => t.box.checked).map((t) => ({ code: t.code, place: '' }))
    if (found.length) c.defects = found
    void recordApi.addCasting(c).then(() => fill(box, run), (e: Error) => {
      if (!/does not answer/.test(e.message)) key = newKey()
      words.textContent = e.message
    })
  }
  rebuild(box, put,
    h('label', { class: 'line' }, h('span', {}, 'Mould'), mould),
    h('label', { class: 'line' }, h('span', {}, 'Weight of the casting, g (if weighed)'), weight),
    h('details', { 'data-key': 'defects' }, h('summary', {}, 'Defects'), h('ul', { class: 'plain defects' }, ...ticks.map((t) => h('li', {}, h('label', { class: 'tick' }, t.box, h('span', {}, h('strong', {}, t.code), ` ${t.words}`)))))),
    h('label', { class: 'line' }, h('span', {}, 'Anything worth keeping'), notes),
    h('div', { class: 'outcomes', role: 'group', 'aria-label': 'How it came out' }, ...Object.entries(OUTCOMES).map(([code, w]) => h('button', { class: code === 'good' ? 'primary big' : 'big', 'data-key': 'outcome-' + code, click: () => save(code) }, sentence(w)))), words)
}

function newMould(box: HTMLElement, run: Run): HTMLElement {
  const words = h('p', { class: 'error', role: 'alert' })
  const name = h('input', { id: 'mould-name', required: true, maxlength: 80, value: run.job + ' A' })
  const key = newKey()
  return h('form', { submit: (e) => {
    e.preventDefault()
    void recordApi.addMould({ name: name.value, job: run.job, family: run.plan?.family ?? '', made_on: today(), operator: kept('operator', '') || run.operator, key }).then(() => fill(box, run), (err: Error) => (words.textContent = err.message))
  } }, h('p', {}, 'The records hold no mould of this part yet. Put it down first: castings count its wear.'), h('label', { class: 'line' }, h('span', {}, 'What it is called'), name), h('button', { class: 'primary big', 'data-key': 'add-mould' }, 'Put the mould down'), words)
}

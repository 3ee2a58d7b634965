// Batches: the list, and one batch with its text, its board and what it costs.
import type { ApiError } from './http'
import { batchApi, type Batch, type Plan } from './office'
import { api } from './api'
import { h, num, rebuild } from './dom'
import { placed, toLine } from './place'

export async function batches(app: HTMLElement, go: (path: string) => void): Promise<void> {
  document.title = 'Batches · mouldwright'
  const [list, jobs] = await Promise.all([batchApi.list(), api.jobs()])
  const words = h('p', { class: 'error', role: 'alert' })
  const ready = jobs.filter((j) => j.has_report && !j.refused)
  const choice = h('select', { id: 'from-job' }, ...ready.map((j) => h('option', { value: j.id }, j.name)))
  const begin = async () => {
    try {
      const text = await batchApi.starter(choice.value)
      go('/batches/' + encodeURIComponent((await batchApi.create(ready.find((j) => j.id === choice.value)!.name + ' batch', text.text)).id))
    } catch (e) {
      words.textContent = (e as Error).message
    }
  }
  app.replaceChildren(h('main', { class: 'page' }, nav(), h('h1', {}, 'Batches'),
    list.length ? h('ul', { class: 'plain jobs' }, ...list.map((b) => h('li', {}, h('a', { class: 'job', href: '/batches/' + encodeURIComponent(b.id) }, h('span', { class: 'job-name' }, b.name), b.bad ? h('span', { class: 'chip bad' }, 'needs mending') : b.stale ? h('span', { class: 'chip old' }, 'changed since the plan') : null)))) : h('p', { class: 'soft' }, 'None yet. A batch is a folder with batch.toml: what to cast, with which moulds, by when.'),
    ready.length ? h('section', { class: 'card' }, h('h2', {}, 'Begin one'), h('label', { class: 'field' }, h('span', {}, 'Castings of'), choice), h('div', { class: 'row' }, h('button', { class: 'primary', 'data-key': 'begin-batch', click: () => void begin() }, 'Begin a batch')), words) : h('p', { class: 'soft' }, 'Build a mould first; a batch casts its parts.')))
}

export const nav = () => h('nav', { class: 'row', 'aria-label': 'Pages' }, h('a', { href: '/' }, 'Jobs'), h('a', { href: '/batches' }, 'Batches'), h('a', { href: '/records' }, 'Records'))

export async function oneBatch(app: HTMLElement, id: string): Promise<void> {
  let b = await batchApi.get(id)
  const main = h('main', { class: 'page wide' })
  app.replaceChildren(main)
  const words = h('p', { class: 'error', role: 'alert' })
  const area = h('textarea', { id: 'batch-text', rows: 22, spellcheck: 'false', wrap: 'off', 'data-key': 'batch-text' })
  area.value = b.text ?? ''
  const plan = h('button', { class: 'primary', 'data-key': 'plan', click: () => void save(true) }, 'Save and plan')
  const save = async (then: boolean) => {
    words.textContent = ''
    plan.disabled = true
    try {
      if (area.value !== b.text) b = await batchApi.put(id, area.value, b.tag)
      if (then) b = await batchApi.plan(id)
      draw()
    } catch (e) {
      const err = e as ApiError
      words.textContent = placed(err.message, err.place)
      toLine(area, err.place)
    } finally {
      plan.disabled = false
    }
  }
  const draw = () => {
    document.title = `${b.name} · mouldwright`
    rebuild(main, nav(), h('h1', {}, b.name),
      b.bad ? h('p', { class: 'error' }, placed(b.bad.detail, b.bad.place)) : null,
      b.stale ? h('p', { class: 'note' }, 'The text was changed after this plan was made.') : null,
      b.plan ? board(b, b.plan) : h('p', { class: 'soft' }, 'Not planned yet.'),
      h('section', { class: 'card', 'aria-labelledby': 'text-title' }, h('h2', { id: 'text-title' }, 'batch.toml'), h('label', { for: 'batch-text', class: 'soft' }, 'Quantities, dates, moulds, times and prices. An unsound text is not saved.'), area, words,
        h('div', { class: 'row' }, plan, h('button', { class: 'quiet', 'data-key': 'save-batch', click: () => void save(false) }, 'Save alone'))))
  }
  draw()
}

function board(b: Batch, r: Plan): HTMLElement {
  const file = (name: string, words: string, download = true) => h('a', { class: 'get', href: batchApi.file(b.id, name) + (download ? '?download' : ''), ...(download ? { download: true } : { target: '_blank', rel: 'noopener' }) }, words)
  const when = (s: number) => clockOf(r.plan.start, s)
  const money = (v: number) => `${num(v, 2)} ${r.costs.currency}`
  const src = `${batchApi.file(b.id, 'board.svg')}?at=${r.plan.end_s}-${r.plan.schedules_tried}`
  const works = r.plan.steps.filter((s) => s.kind === 'pour')
  return h('div', { class: 'batch' },
    h('section', { 'aria-labelledby': 'board-title' }, h('h2', { id: 'board-title' }, 'The board'),
      h('p', {}, `Ready ${when(r.plan.end_s)}${r.plan.lower_bound_s ? `; no plan of all of it can end before ${when(r.plan.lower_bound_s)}` : `, planned anew from ${when(r.plan.now_s)}`}. ${r.plan.overnight_shots} shots cure while nobody is there.`),
      ...(r.plan.late ?? []).map((f) => h('p', { class: 'error' }, f.words)), ...(r.warnings ?? []).map((w) => h('p', { class: 'note' }, w)),
      h('div', { class: 'board', tabindex: 0, role: 'region', 'aria-label': 'Board, scrolls sideways' }, h('img', { src, alt: 'The plan as a board: a strip a day, a row for each operator, pot and mould. The table below says the same.' })),
      h('p', { class: 'gets' }, file('board.svg', 'Board, SVG', false), file('day-lists.pdf', 'Day lists, PDF', false), file('calendar.ics', 'Calendar'), file('plan.txt', 'Plan, text', false)),
      h('details', { 'data-key': 'pours' }, h('summary', {}, `Every pour: ${works.length}`), h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Pours' }, h('table', { class: 'figures' }, h('thead', {}, h('tr', {}, ...['load', 'mix', 'version', 'mould', 'poured'].map((w) => h('th', { scope: 'col' }, w)))),
        h('tbody', {}, ...works.map((s) => h('tr', {}, h('th', { scope: 'row' }, s.load), h('td', {}, s.mix ?? ''), h('td', {}, s.version ?? ''), h('td', {}, s.mould ?? ''), h('td', {}, when(s.start_s))))))))),
    r.changes ? changed(r.changes, when) : null,
    r.helps?.length ? h('section', { 'aria-labelledby': 'helps-title' }, h('h2', { id: 'helps-title' }, 'What would help most'), h('p', { class: 'soft' }, 'Each change by itself, planned anew. The best comes first.'), h('ol', {}, ...r.helps.map((x) => h('li', {}, x.words)))) : null,
    h('section', { 'aria-labelledby': 'ready-title' }, h('h2', { id: 'ready-title' }, 'Ready'), h('ul', { class: 'plain' }, ...r.plan.versions.map((v) => h('li', {}, `${v.version}: ${v.parts} parts of ${v.shots} shots, ${when(v.ready_s)}`))), ...(r.plan.orders ?? []).map((o) => h('p', {}, `Order ${o.order}: all ready ${when(o.ready_s)}${o.late_s > 0 ? `, ${num(o.late_s / 3600, 1)} h late` : ''}`))),
    h('section', { 'aria-labelledby': 'cost-title' }, h('h2', { id: 'cost-title' }, 'Cost'), h('p', { class: 'lead' }, `${money(r.costs.per_part)} a part; ${money(r.costs.price_per_part)} with the margin of ${num(r.costs.margin_pct, 1)} %.`),
      h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'What it costs' }, h('table', { class: 'figures' }, h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, 'what'), h('th', { scope: 'col' }, r.costs.currency), h('th', { scope: 'col' }, 'share'), h('th', { scope: 'col' }, 'rests on'))),
        h('tbody', {}, ...r.costs.lines.map((l) => h('tr', {}, h('th', { scope: 'row' }, l.name), h('td', {}, num(l.amount, 2)), h('td', {}, `${num(100 * l.share, 0)} %`), h('td', { class: 'words' }, l.rests_on))))))),
    r.costs.versions?.length ? h('section', { 'aria-labelledby': 'by-version-title' }, h('h2', { id: 'by-version-title' }, 'Cost by version'), h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Cost by version' }, h('table', { class: 'figures' },
      h('thead', {}, h('tr', {}, ...['version', 'parts', 'shots', `all, ${r.costs.currency}`, 'a part', 'price of a part'].map((w) => h('th', { scope: 'col' }, w)))),
      h('tbody', {}, ...r.costs.versions.map((v) => h('tr', {}, h('th', { scope: 'row' }, v.version), h('td', {}, String(v.parts)), h('td', {}, String(v.shots)), h('td', {}, num(v.total, 2)), h('td', {}, num(v.per_part, 2)), h('td', {}, num(v.price_per_part, 2)))))))) : null,
    r.quote ? h('section', { 'aria-labelledby': 'quote-title' }, h('h2', { id: 'quote-title' }, 'Quote'), h('p', { class: 'lead' }, `${num(r.quote.net / 100, 2)} ${r.quote.currency} net, ${num(r.quote.total / 100, 2)} ${r.quote.currency} with tax.`),
      h('p', { class: 'gets' }, file('quote.pdf', 'Quote, PDF', false), file('quote.xlsx', 'Quote, XLSX'))) : null,
    h('section', { 'aria-labelledby': 'buy-title' }, h('h2', { id: 'buy-title' }, 'Buy'), h('ul', {}, ...(r.costs.purchases ?? []).map((p) => h('li', {}, p.words)))),
    r.break_even?.length ? h('section', { 'aria-labelledby': 'even-title' }, h('h2', { id: 'even-title' }, 'Which tooling pays'), h('div', { class: 'board', tabindex: 0, role: 'region', 'aria-label': 'Cost per part over the batch' }, h('img', { src: batchApi.file(b.id, 'break-even.svg'), alt: 'Cost per part over the size of the batch, a line for each way of tooling; the list below names the cheapest.' })),
      h('ul', {}, ...r.break_even.map((c) => h('li', {}, `${c.from} to ${c.to} parts: ${c.way}`)))) : null)
}

/** What a plan made anew has otherwise than the one before. */
function changed(c: NonNullable<Plan['changes']>, when: (s: number) => string): HTMLElement {
  const moved = c.moved ?? []
  return h('section', { 'aria-labelledby': 'changes-title' }, h('h2', { id: 'changes-title' }, 'What changed'),
    h('p', {}, `${c.frozen_steps} steps are done, ${c.kept_loads} loads stay where they were, ${moved.length} were moved.`),
    h('ul', {}, ...moved.map((m) => h('li', {}, `${m.load}: ${when(m.is_s)} instead of ${when(m.was_s)}`)),
      ...(c.new_loads ?? []).map((l) => h('li', {}, `${l} is new`)), ...(c.gone_loads ?? []).map((l) => h('li', {}, `${l} is no longer needed`)),
      ...(c.ready ?? []).map((v) => h('li', {}, `${v.version} is ready ${when(v.is_s)} instead of ${when(v.was_s)}${v.late_s > 0 ? `, ${num(v.late_s / 3600, 1)} h late` : ''}`))))
}

/** A moment of the bench's own clock: seconds from midnight of the first day. */
function clockOf(start: string, s: number): string {
  const [y, m, d] = start.split('-').map(Number) as [number, number, number]
  const t = new Date(Date.UTC(y, m - 1, d) + 1000 * s)
  return t.toLocaleString('en-GB', { timeZone: 'UTC', weekday: 'short', day: 'numeric', month: 'short', hour: '2-digit', minute: '2-digit' })
}

import '@fontsource-variable/atkinson-hyperlegible-next/wght.css'
import '../base.css'
import './walk.css'
import { ApiError } from '../http'
import { h, rebuild } from '../dom'
import { kept, keep } from './kept'
import { newKey, recordApi } from '../books'
import { server, type Bench, type Run } from './model'
import { Walk } from './walk'

// The page of one job at the bench: begin a run, then step by step to the castings.

const app = document.getElementById('app')!
const job = decodeURIComponent(/^\/bench\/([^/]+)$/.exec(location.pathname)?.[1] ?? '')
let walk: Walk | null = null

async function route(): Promise<void> {
  walk?.end()
  walk = null
  try {
    const run = new URLSearchParams(location.search).get('run')
    if (run) walk = new Walk(app, job, await server.run(run), () => go(null))
    else await begin()
  } catch (e) {
    if (e instanceof ApiError && e.status === 401) signIn()
    else fail(e)
  }
}

function go(run: string | null): void {
  history.pushState(null, '', location.pathname + (run ? `?run=${encodeURIComponent(run)}` : ''))
  void route()
}

async function begin(): Promise<void> {
  const [j, runs] = await Promise.all([server.job(job), server.runs(job)])
  document.title = `${j.name} at the bench`
  const moulds = (await recordApi.moulds()).filter((m) => m.job === runs[0]?.job || m.job === j.name)
  const last = kept<Bench>('bench.' + job, {})
  const words = h('p', { class: 'error', role: 'alert' })
  const name = h('input', { id: 'who', required: true, maxlength: 80, autocomplete: 'name', value: kept('operator', '') })
  const number = (id: string, value: number | undefined, attrs: Record<string, string | number>) => h('input', { id, type: 'number', inputmode: 'decimal', ...(value ? { value } : {}), ...attrs })
  const shots = number('shots', last.shots ?? 1, { min: 1, max: 1000, step: 1 })
  const temp = number('temp', last.temp_c ?? 23, { min: -10, max: 50, step: 'any' })
  const cup = number('cup', last.cup_ml, { min: 1, max: 100000, step: 'any' })
  const tick = (id: string, on: boolean | undefined) => h('input', { id, type: 'checkbox', ...(on ? { checked: true } : {}) })
  const vacuum = tick('vacuum', last.vacuum)
  const pot = tick('pot', last.pot)
  const again = tick('again', last.again ?? runs.some((r) => r.done === r.of))
  const mould = h('select', { id: 'mould' }, h('option', { value: '' }, 'not in the records'), ...moulds.filter((m) => !m.retired_on).map((m) => h('option', { value: m.id }, `${m.name} (${m.id})`)))
  const button = h('button', { class: 'primary big' }, 'Begin')
  let key = newKey()
  const form = h('form', { class: 'card', submit: (e) => {
    e.preventDefault()
    const b: Bench = { shots: Number(shots.value), temp_c: Number(temp.value), vacuum: vacuum.checked, pot: pot.checked, again: again.checked, ...(cup.value ? { cup_ml: Number(cup.value) } : {}) }
    keep('operator', name.value)
    keep('bench.' + job, b)
    button.disabled = true
    void server.begin(job, { ...b, operator: name.value.trim(), key, ...(mould.value ? { mould: mould.value } : {}) }).then((r) => go(r.id), (err: Error) => {
      key = newKey() // the next try may ask for something else
      button.disabled = false
      words.textContent = err.message
    })
  } },
    h('h2', {}, 'Begin a run'),
    line('Your name', name), line('Fillings', shots), line('The shop, °C', temp), line('A cup’s brim, mL', cup, 'left out: the steps say how large a cup it takes'), moulds.length ? line('Mould', mould) : null,
    check(vacuum, 'Degas under vacuum'), check(pot, 'Cure in a pressure pot'), check(again, 'The mould was used before'), button, words)
  const open = runs.filter((r) => r.done < r.of)
  rebuild(app, h('main', { class: 'walk' }, h('header', {}, h('p', {}, h('a', { href: `/jobs/${encodeURIComponent(job)}` }, 'To the job')), h('h1', {}, j.name)),
    j.stale ? h('p', { class: 'note' }, 'The decisions were changed after the mould was built. The steps are those of the mould as built.') : null,
    open.length ? h('section', { class: 'card' }, h('h2', {}, 'Go on with'), h('ul', { class: 'plain runs' }, ...open.map((r) => h('li', {}, h('button', { class: 'big', click: () => go(r.id) }, when(r), h('span', { class: 'soft block' }, `${r.operator}; ${r.done} of ${r.of} steps signed`)))))) : null,
    form))
}

const line = (label: string, field: HTMLElement, hint?: string) => h('label', { class: 'line' }, h('span', {}, label), field, hint ? h('span', { class: 'soft block' }, hint) : null)
const check = (field: HTMLElement, label: string) => h('label', { class: 'tick' }, field, h('span', {}, label))

function when(r: Run): string {
  return new Date(r.started_at).toLocaleString('en-GB', { dateStyle: 'medium', timeStyle: 'short' })
}

function signIn(): void {
  const words = h('p', { role: 'alert', class: 'error' })
  const field = h('input', { type: 'password', id: 'token', autocomplete: 'current-password', required: true })
  rebuild(app, h('main', { class: 'walk' }, h('form', { class: 'card', submit: (e) => {
    e.preventDefault()
    void server.signIn(field.value).then(() => route(), (err: Error) => (words.textContent = err.message))
  } }, h('h1', {}, 'This server asks for its token'), line('Token', field), h('button', { class: 'primary big' }, 'Open'), words)))
  field.focus()
}

function fail(e: unknown): void {
  rebuild(app, h('main', { class: 'walk' }, h('div', { class: 'card' }, h('h1', {}, 'That did not work'), h('p', { role: 'alert', class: 'error' }, e instanceof Error ? e.message : String(e)),
    h('button', { class: 'big', click: () => void route() }, 'Try again'), h('p', {}, h('a', { href: job ? `/jobs/${encodeURIComponent(job)}` : '/' }, 'To the job')))))
}

addEventListener('popstate', () => void route())
void route()

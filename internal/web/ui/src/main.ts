import '@fontsource-variable/atkinson-hyperlegible-next/wght.css'
import './style.css'
import { api, ApiError } from './api'
import { h } from './dom'
import { Bench } from './bench'
import { batches, oneBatch } from './batches'
import { records } from './records'
import { shelf } from './shelf'

// The shelf of jobs, one job on the bench, batches, records. The address says which.

const app = document.getElementById('app')!
let bench: Bench | null = null

export function go(path: string): void {
  if (location.pathname !== path) history.pushState(null, '', path)
  void route()
}

async function route(): Promise<void> {
  const id = /^\/jobs\/([^/]+)$/.exec(location.pathname)?.[1]
  bench?.leave()
  bench = null
  try {
    if (id) {
      bench = new Bench(app, decodeURIComponent(id), go)
      await bench.load()
    } else if (location.pathname === '/records') {
      await records(app)
    } else if (location.pathname.startsWith('/batches')) {
      const batch = /^\/batches\/([^/]+)$/.exec(location.pathname)?.[1]
      if (batch) await oneBatch(app, decodeURIComponent(batch))
      else await batches(app, go)
    } else {
      await shelf(app, go)
    }
  } catch (e) {
    if (e instanceof ApiError && e.status === 401) signIn()
    else fail(e)
  }
}

function signIn(): void {
  const words = h('p', { role: 'alert', class: 'error' })
  const field = h('input', { type: 'password', id: 'token', autocomplete: 'current-password', required: true })
  const form = h('form', { class: 'card narrow', submit: (e) => {
    e.preventDefault()
    void api.signIn(field.value).then(() => route(), (err: Error) => (words.textContent = err.message))
  } }, h('h1', {}, 'This server asks for its token'), h('label', { for: 'token' }, 'Token'), field, h('button', { class: 'primary' }, 'Open'), words)
  app.replaceChildren(h('main', { class: 'page' }, form))
  field.focus()
}

function fail(e: unknown): void {
  app.replaceChildren(h('main', { class: 'page' }, h('div', { class: 'card narrow' }, h('h1', {}, 'That did not work'), h('p', { role: 'alert', class: 'error' }, e instanceof Error ? e.message : String(e)),
    h('p', {}, h('a', { href: '/' }, 'All jobs')))))
}

addEventListener('popstate', () => void route())
document.addEventListener('click', (e) => {
  const a = (e.target as Element).closest?.('a')
  if (!a || a.target || a.hasAttribute('download') || e.ctrlKey || e.metaKey || e.shiftKey || e.button !== 0) return
  const path = a.getAttribute('href') ?? ''
  if (path === '/' || path === '/records' || path.startsWith('/jobs/') || path.startsWith('/batches')) {
    e.preventDefault()
    go(path)
  }
})
void route()

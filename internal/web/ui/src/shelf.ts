// The shelf: drop a part, or take up a job.
import { api, type Job, type Upload } from './api'
import { h, num, rebuild } from './dom'

const UNITS: Record<string, number> = { mm: 1, cm: 10, m: 1000, inch: 25.4, foot: 304.8, micron: 0.001 }

export async function shelf(app: HTMLElement, go: (path: string) => void): Promise<void> {
  document.title = 'mouldwright'
  const [jobs, demo] = await Promise.all([api.jobs(), api.demo()])
  const intake = h('section', { class: 'intake', 'aria-label': 'New job' })
  const status = h('p', { class: 'error', role: 'alert' })
  const input = h('input', { type: 'file', id: 'file', class: 'visually-hidden', accept: '.stl,.3mf,.obj,.ply', change: () => { if (input.files?.[0]) void take(input.files[0]) } })
  const drop = h('label', { for: 'file', class: 'drop' },
    pouring(),
    h('span', { class: 'drop-words' }, h('strong', {}, 'Drop a part here'), h('span', {}, 'or choose a file: STL, 3MF, OBJ or PLY')))
  for (const name of ['dragover', 'dragenter']) drop.addEventListener(name, (e) => { e.preventDefault(); drop.classList.add('over') })
  drop.addEventListener('dragleave', () => drop.classList.remove('over'))
  drop.addEventListener('drop', (e) => {
    e.preventDefault()
    drop.classList.remove('over')
    const f = e.dataTransfer?.files[0]
    if (f) void take(f)
  })
  const take = async (f: File) => {
    status.textContent = ''
    drop.classList.add('busy')
    try {
      const up = await api.upload(f)
      const only = up.objects[0]!
      if (up.objects.length === 1 && up.unit_known && only.colours.length === 0) {
        go('/jobs/' + encodeURIComponent((await api.create({ upload: up.upload })).id))
        return
      }
      ask(intake, up, go)
    } catch (e) {
      status.textContent = (e as Error).message
    } finally {
      drop.classList.remove('busy')
      input.value = ''
    }
  }
  const start = async (name: string) => {
    try {
      go('/jobs/' + encodeURIComponent((await api.create({ demo: name })).id))
    } catch (e) {
      status.textContent = (e as Error).message
    }
  }
  rebuild(intake, input, drop, status, h('p', { class: 'soft' }, 'No part at hand? Start with one of a hand lantern:'),
    h('ul', { class: 'plain demo' }, ...demo.map((d) => h('li', {}, h('button', { class: 'quiet', click: () => void start(d.name) }, d.name), h('span', { class: 'soft' }, d.words)))))
  app.replaceChildren(h('main', { class: 'page shelf' },
    h('header', { class: 'masthead' }, h('h1', {}, 'mouldwright'), h('p', {}, 'From a finished part to a mould that is proven to open, and the amounts to pour.')),
    intake,
    h('section', { 'aria-labelledby': 'jobs-title' }, h('h2', { id: 'jobs-title' }, 'Jobs on this machine'),
      jobs.length ? h('ul', { class: 'plain jobs' }, ...jobs.map(row)) : h('p', { class: 'soft' }, 'None yet. A job is a folder with the part, your decisions and the results.')),
    h('nav', { class: 'row', 'aria-label': 'Pages' }, h('a', { href: '/batches' }, 'Batches: plan, board, cost'), h('a', { href: '/records' }, 'Records of the bench'))))
}

function row(j: Job): HTMLElement {
  const [kind, words] = outcome(j)
  return h('li', {}, h('a', { href: '/jobs/' + encodeURIComponent(j.id), class: 'job' }, h('span', { class: 'job-name' }, j.name), h('span', { class: 'chip ' + kind }, words),
    h('time', { datetime: j.changed, class: 'soft' }, new Date(j.changed).toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric' }))))
}

export function outcome(j: Job): [string, string] {
  if (j.bad) return ['bad', 'decisions need mending']
  if (j.task && (j.task.state === 'running' || j.task.state === 'waiting') && j.task.kind === 'build') return ['busy', 'building']
  if (!j.has_report) return ['none', 'not built yet']
  if (j.stale) return ['old', 'changed since the last build']
  return j.refused ? ['bad', 'refused'] : ['good', 'proven mould']
}

/** What the file leaves open: which object, which unit, which colours mark show faces. */
function ask(box: HTMLElement, up: Upload, go: (path: string) => void): void {
  const status = h('p', { class: 'error', role: 'alert' })
  let object = 0
  const sizes = h('div', {})
  const unitBox = h('div', {})
  const colourBox = h('div', {})
  const refresh = () => {
    const o = up.objects[object]!
    rebuild(unitBox, up.unit_known ? null : h('fieldset', {}, h('legend', {}, 'The file does not say its unit. How large is the part?'),
      ...['mm', 'inch', 'cm', 'm'].map((u, i) => h('label', { class: 'choice' }, h('input', { type: 'radio', name: 'unit', value: u, checked: i === 0 }),
        h('span', {}, `${o.size.map((s) => num(s * UNITS[u]!, 1)).join(' × ')} mm`), h('span', { class: 'soft' }, `numbers in ${u}`)))))
    rebuild(colourBox, o.colours.length === 0 ? null : h('fieldset', {}, h('legend', {}, 'Do colours in the file mark show faces? They get no flash, no sprue and no vent.'),
      ...o.colours.slice(0, 12).map((c) => {
        const swatch = h('span', { class: 'swatch' })
        swatch.style.backgroundColor = c
        return h('label', { class: 'choice' }, h('input', { type: 'checkbox', name: 'colour', value: c, checked: o.colours.length === 1 }), swatch, h('span', {}, c))
      })))
    rebuild(sizes, h('p', {}, `${num(o.facets, 0)} facets`, ...up.notes.map((n) => h('span', { class: 'soft block' }, n))))
  }
  const form = h('form', { class: 'card', submit: (e) => {
    e.preventDefault()
    const data = new FormData(form)
    const unit = data.get('unit') as string | null
    const o = up.objects[object]!
    api.create({
      upload: up.upload, name: (data.get('name') as string) || undefined, ...(unit && unit !== 'mm' ? { unit } : {}),
      ...(up.objects.length > 1 ? { object: o.name } : {}), colours: data.getAll('colour') as string[],
    }).then((j) => go('/jobs/' + encodeURIComponent(j.id)), (err: Error) => (status.textContent = err.message))
  } },
  h('h2', { tabindex: -1 }, up.file),
  up.objects.length > 1 ? h('fieldset', {}, h('legend', {}, `The file holds ${up.objects.length} objects. Which one is the part?`),
    ...up.objects.map((o, i) => h('label', { class: 'choice' }, h('input', { type: 'radio', name: 'object', value: i, checked: i === 0, change: () => { object = i; refresh() } }), h('span', {}, o.name), h('span', { class: 'soft' }, `${num(o.facets, 0)} facets`)))) : null,
  sizes, unitBox, colourBox,
  h('label', { class: 'field' }, h('span', {}, 'Call it'), h('input', { name: 'name', value: up.file.replace(/\.[^.]+$/, '').replace(/-/g, ' '), maxlength: 80 })),
  h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Make the job'), h('button', { type: 'button', class: 'quiet', click: () => go('/') }, 'Another file')), status)
  refresh()
  box.replaceChildren(form)
  form.querySelector('h2')!.focus()
}

/** The mark of the page: resin running into a cup. */
function pouring(): SVGSVGElement {
  const ns = 'http://www.w3.org/2000/svg'
  const svg = document.createElementNS(ns, 'svg')
  svg.setAttribute('viewBox', '0 0 120 120')
  svg.setAttribute('aria-hidden', 'true')
  svg.setAttribute('class', 'pour')
  for (const [cls, d] of [['stream', 'M58 6h5v52h-5z'], ['level', 'M27 62c10-6 18 6 33 0s22-6 33 0l-6 42H33z'], ['cup', 'M20 34h80l-12 76H32z']] as const) {
    const p = document.createElementNS(ns, 'path')
    p.setAttribute('d', d)
    p.setAttribute('class', cls)
    svg.append(p)
  }
  return svg
}

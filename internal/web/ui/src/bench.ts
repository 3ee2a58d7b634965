// One job on the bench: the four stations beside the view.
import { api, ApiError, over, watch, type Job, type Comparison, type Intake, type Judgement, type Lid, type Pack, type Report, type Task, type Vec } from './api'
import { h, rebuild } from './dom'
import { decisionsStation, judgeStation, mouldStation, partStation, pourStation } from './stations'
import { View } from './view'
import { outcome } from './shelf'

export interface State {
  job: Job
  part: Pack | null
  intake: Intake | null
  partError: string
  show: Pack | null
  judgement: Judgement | null
  judged: Pack | null
  report: Report | null
  mould: Pack | null
  fill: Pack | null
  comparison: { fresh: boolean; comparison: Comparison } | null
  families: { name: string; words: string }[]
  lid: Lid | null
  task: Task | null
  taskError: string
  notice: string
  picking: boolean
}

const STATIONS = ['part', 'judge', 'mould', 'pour'] as const
export type StationName = (typeof STATIONS)[number]
const TITLES: Record<StationName, string> = { part: 'Part', judge: 'Judge', mould: 'Mould', pour: 'Pour' }

/** After a change of show faces the judgement is made anew, once clicks have come to rest. */
const REST_MS = 900

export class Bench {
  state: State | null = null
  readonly view: View
  private boxes = new Map<string, HTMLElement>()
  private gauge = h('nav', { class: 'gauge', 'aria-label': 'Stations' })
  private live = h('p', { class: 'visually-hidden', 'aria-live': 'polite' })
  private unwatch: (() => void) | null = null
  private rest = 0
  private gone = false
  private spoken = ''

  constructor(app: HTMLElement, readonly id: string, readonly go: (path: string) => void) {
    const column = h('div', { class: 'column' })
    const head = h('header', { class: 'job-head' })
    this.boxes.set('head', head)
    column.append(head)
    for (const s of STATIONS) {
      const box = h('section', { class: 'station', id: s, 'aria-labelledby': s + '-title' })
      const inner = h('div', { class: 'station-body' })
      box.append(h('h2', { id: s + '-title', tabindex: -1 }, TITLES[s]), inner)
      this.boxes.set(s, inner)
      column.append(box)
    }
    const decisions = h('section', { class: 'station', id: 'decisions', 'aria-label': 'All decisions' })
    this.boxes.set('decisions', decisions)
    column.append(decisions)
    const plate = h('section', { class: 'plate', 'aria-label': 'View' })
    const main = h('main', { class: 'bench' }, this.gauge, plate, column)
    app.replaceChildren(h('a', { class: 'skip', href: '#part' }, 'Skip to the stations'), main, this.live)
    this.view = new View(plate, this)
  }

  leave(): void {
    this.gone = true
    this.unwatch?.()
    clearTimeout(this.rest)
  }

  async load(): Promise<void> {
    const job = await api.job(this.id)
    document.title = job.name + ' · mouldwright'
    this.state = { job, part: null, intake: null, partError: '', show: null, judgement: null, judged: null, report: null, mould: null, fill: null, comparison: null, families: [], lid: null, task: job.task && !over(job.task) ? job.task : null, taskError: '', notice: '', picking: false }
    this.update()
    if (job.bad) return
    const soon = Promise.all([this.loadReport(), this.loadComparison()])
    try {
      this.state.part = await api.pack(this.id, 'part')
      if (this.gone) return
      this.view.setPart()
      this.update()
      ;[this.state.intake, this.state.show] = await Promise.all([api.intake(this.id), api.pack(this.id, 'show')])
    } catch (e) {
      this.state.partError = (e as Error).message
      this.update()
      return
    }
    if (this.gone) return
    this.update()
    await Promise.all([soon, this.loadJudgement()])
    if (this.gone) return
    if (this.state.task) this.follow(this.state.task)
    else if (!this.state.judgement?.fresh && !this.state.intake.fatal) await this.start('judge')
    this.update()
    if (this.state.mould && !job.stale) this.view.subject('mould')
  }

  private async loadReport(): Promise<void> {
    const s = this.state!
    s.report = s.mould = s.fill = s.lid = null
    if (!s.job.has_report) return
    try {
      s.report = await api.report(this.id)
      if (!s.report.refused) s.mould = await api.pack(this.id, 'mould')
      if (s.report.files?.includes('fill.json')) s.fill = await api.pack(this.id, 'fill')
    } catch (e) {
      if (!(e instanceof ApiError && e.status === 404)) s.taskError = (e as Error).message
    }
    if (!this.gone) this.view.setMould()
  }

  private async loadComparison(): Promise<void> {
    const s = this.state!
    if (!s.families.length) s.families = await api.families()
    try {
      s.comparison = await api.comparison(this.id)
    } catch (e) {
      if (!(e instanceof ApiError && e.status === 404)) throw e
      s.comparison = null
    }
  }

  private async loadJudgement(): Promise<void> {
    const s = this.state!
    try {
      s.judgement = await api.judgement(this.id)
      s.judged = await api.pack(this.id, 'judgement')
    } catch (e) {
      if (!(e instanceof ApiError && e.status === 404)) throw e
      s.judgement = s.judged = null
    }
    if (!this.gone) this.view.setJudgement()
  }

  async start(kind: Task['kind']): Promise<void> {
    const s = this.state!
    s.taskError = ''
    try {
      s.task = await api.start(this.id, kind)
      this.follow(s.task)
    } catch (e) {
      s.taskError = (e as Error).message
    }
    this.update()
  }

  async cancel(): Promise<void> {
    if (this.state?.task) await api.cancel(this.state.task.id)
  }

  private follow(t: Task): void {
    this.unwatch?.()
    this.unwatch = watch(t.id, (now) => {
      if (this.gone || !this.state) return
      this.state.task = over(now) ? null : now
      if (over(now)) void this.finished(now)
      else this.progress(now)
    })
  }

  private async finished(t: Task): Promise<void> {
    const s = this.state!
    s.taskError = t.state === 'failed' ? (t.error ?? 'failed') : ''
    s.job = await api.job(this.id)
    if (t.kind === 'judge' && t.state === 'done') {
      await this.loadJudgement()
      if (!s.mould && !s.picking) this.view.mode('draft')
      this.say(s.judgement?.opens ? 'Judged: it opens.' : 'Judged: it locks.')
    }
    if (t.kind === 'build' && (t.state === 'done' || t.state === 'refused')) {
      await this.loadReport()
      if (s.mould) {
        this.view.subject('mould')
        this.say('The mould is built and proven.')
      } else {
        await this.loadJudgement()
        this.view.subject('part')
        this.view.mode('undercut')
        this.say('Refused. The Mould station says why.')
      }
      this.boxes.get('mould')!.parentElement!.scrollIntoView({ block: 'start' })
    }
    if (t.kind === 'compare' && t.state === 'done') {
      await this.loadComparison()
      this.say('The ways are compared.')
    }
    if (t.state === 'stopped') this.say('Stopped.')
    this.update()
  }

  /** Puts a changed job in and sees to what depends on it. */
  async changed(edit: () => Promise<Job>): Promise<void> {
    const s = this.state!
    s.notice = ''
    try {
      s.job = await edit()
      s.notice = s.job.notice ?? ''
    } catch (e) {
      s.notice = (e as Error).message
      this.update()
      return
    }
    s.show = await api.pack(this.id, 'show')
    this.view.setShow()
    if (s.comparison) s.comparison.fresh = false
    if (s.judgement) s.judgement.fresh = (await api.judgement(this.id).catch(() => null))?.fresh ?? false
    this.update()
    clearTimeout(this.rest)
    if (s.judgement && !s.judgement.fresh) this.rest = window.setTimeout(() => void this.rejudge(), REST_MS)
  }

  /** After job.toml as a whole was replaced. */
  async reload(job: Job): Promise<void> {
    this.state!.job = job
    await this.load()
  }

  private async rejudge(): Promise<void> {
    if (this.gone || this.state?.task) return
    await this.start('judge')
  }

  setPicking(on: boolean): void {
    this.state!.picking = on
    this.view.mode(on ? 'show' : 'draft')
    this.view.setPicking(on)
    this.update()
  }

  pick(at: Vec): void {
    if (this.state?.picking) void this.changed(() => api.pick(this.id, at))
  }

  say(words: string): void {
    if (words !== this.spoken) this.live.textContent = this.spoken = words
  }

  toStation(name: StationName): void {
    document.getElementById(name)!.scrollIntoView({ block: 'start', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth' })
    document.getElementById(name + '-title')!.focus({ preventScroll: true })
    if (name === 'mould' && this.state?.mould) this.view.subject('mould')
    if (name === 'part' || name === 'judge') this.view.subject('part')
  }

  /** Progress alone: the stations keep still under the reader's eyes. */
  private progress(t: Task): void {
    for (const bar of document.querySelectorAll<HTMLProgressElement>('progress[data-task]')) bar.value = t.share
    for (const w of document.querySelectorAll('[data-task-words]')) w.textContent = t.stage
    if (!document.querySelector('progress[data-task]')) this.update()
  }

  update(): void {
    const s = this.state
    if (!s || this.gone) return
    const [kind, words] = outcome(s.job)
    rebuild(this.boxes.get('head')!, h('p', { class: 'crumb' }, h('a', { href: '/', 'data-key': 'home' }, 'All jobs')), h('h1', {}, s.job.name), h('p', {}, h('span', { class: 'chip ' + kind }, words)))
    partStation(this.boxes.get('part')!, this)
    judgeStation(this.boxes.get('judge')!, this)
    mouldStation(this.boxes.get('mould')!, this)
    pourStation(this.boxes.get('pour')!, this)
    decisionsStation(this.boxes.get('decisions')!, this)
    this.fill()
    this.view.update()
  }

  /** The measure at the edge rises with the work that is done. */
  private fill(): void {
    const s = this.state!
    const done = { part: !!s.intake && !s.intake.fatal, judge: !!s.judgement?.fresh, mould: !!s.mould && !s.job.stale, pour: !!s.mould && !!s.report?.shot && !s.job.stale }
    const level = STATIONS.filter((n) => done[n]).length / STATIONS.length
    const liquid = h('span', { class: 'liquid', 'aria-hidden': 'true' })
    liquid.style.setProperty('--level', String(level))
    rebuild(this.gauge, liquid, h('ol', {}, ...STATIONS.map((n) => h('li', {}, h('button', { 'data-key': 'go-' + n, class: done[n] ? 'done' : '', click: () => this.toStation(n) }, TITLES[n], h('span', { class: 'visually-hidden' }, done[n] ? ' (done)' : ''))))))
  }
}

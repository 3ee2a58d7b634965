// Timers that run on by the clock on the wall: kept as the moment they end, so a reload loses nothing.
import { h, num } from '../dom'
import { keep, kept } from './kept'
import type { TimerSpec } from './model'

interface Clock { name: string; ends: number; low?: number; high?: number; rung: boolean }

const TICK_MS = 500

export class Clocks {
  private all: Record<string, Clock>
  private tick = 0
  private sound: AudioContext | null = null
  private title = document.title

  constructor(private readonly run: string, private readonly onTick: () => void) {
    this.all = kept<Record<string, Clock>>('clocks.' + run, {})
    this.beat()
  }

  end(): void {
    clearInterval(this.tick)
    document.title = this.title
  }

  running(key: string): Clock | undefined {
    return this.all[key]
  }

  start(key: string, name: string, t: TimerSpec): void {
    const now = Date.now()
    this.all[key] = { name, ends: now + 1000 * t.s, rung: false, ...(t.low_s ? { low: now + 1000 * t.low_s } : {}), ...(t.high_s ? { high: now + 1000 * t.high_s } : {}) }
    this.sound ??= new AudioContext() // only a press of a button may make sound later
    this.store()
    this.beat()
  }

  stop(key: string): void {
    delete this.all[key]
    this.store()
  }

  private store(): void {
    keep('clocks.' + this.run, Object.keys(this.all).length ? this.all : null)
    this.onTick()
  }

  private beat(): void {
    clearInterval(this.tick)
    const look = () => {
      const list = Object.values(this.all)
      for (const c of list) {
        if (!c.rung && c.ends <= Date.now()) {
          c.rung = true
          this.ring()
          this.store()
        }
      }
      const over = list.find((c) => c.rung)
      document.title = over ? `Time: ${over.name}` : this.title
      this.onTick()
      if (list.length === 0) clearInterval(this.tick)
    }
    this.tick = window.setInterval(look, TICK_MS)
  }

  private ring(): void {
    navigator.vibrate?.([400, 200, 400, 200, 400])
    const a = this.sound
    if (!a) return
    void a.resume()
    for (let i = 0; i < 3; i++) {
      const o = a.createOscillator()
      const g = a.createGain()
      o.frequency.value = 880
      g.gain.setValueAtTime(0.2, a.currentTime + i * 0.6)
      g.gain.setValueAtTime(0, a.currentTime + i * 0.6 + 0.35)
      o.connect(g).connect(a.destination)
      o.start(a.currentTime + i * 0.6)
      o.stop(a.currentTime + i * 0.6 + 0.4)
    }
  }

  /** The clocks that run, for the top of the page. */
  strip(): HTMLElement | null {
    const list = Object.entries(this.all)
    if (!list.length) return null
    return h('ul', { class: 'clocks', 'aria-label': 'Timers' }, ...list.map(([key, c]) => {
      const left = (c.ends - Date.now()) / 1000
      return h('li', { class: left <= 0 ? 'over' : '' }, h('span', {}, c.name), h('strong', { role: 'timer' }, left > 0 ? clock(left) : `over, since ${clock(-left)}`),
        h('button', { 'data-key': 'stop-' + key, click: () => this.stop(key) }, left > 0 ? 'Stop' : 'Heard', h('span', { class: 'visually-hidden' }, ` the timer ${c.name}`)))
    }))
  }
}

/** Seconds as a clock shows them. */
export function clock(s: number): string {
  const t = Math.ceil(s)
  const two = (v: number) => String(v).padStart(2, '0')
  return t >= 3600 ? `${Math.floor(t / 3600)}:${two(Math.floor(t / 60) % 60)}:${two(t % 60)}` : `${Math.floor(t / 60)}:${two(t % 60)}`
}

/** A time in words, with its range where it is an estimate. */
export function span(t: TimerSpec): string {
  const one = (s: number) => (s >= 7200 ? `${num(s / 3600, 1)} h` : s >= 90 ? `${num(s / 60, 1)} min` : `${num(s, 0)} s`)
  return one(t.s) + (t.low_s && t.high_s ? ` (${one(t.low_s)} to ${one(t.high_s)})` : '')
}

// What the bench page takes from the server, and sends.
import { at, call, json } from '../http'

export interface Quantity { name: string; value: number; unit: string; note?: string }
export interface TimerSpec { name: string; s: number; low_s?: number; high_s?: number; basis?: string }
export interface Ask { words: string; unit: string; want?: number }
export interface Step {
  id: string
  phase: string
  stage: string
  title: string
  words: string[] | null
  quantities?: Quantity[]
  timers?: TimerSpec[]
  hard: boolean
  piece?: string
  ask?: Ask
  cautions?: string[]
  why?: string
  source?: string
}
export interface Plan { job: string; material: string; family: string; shots: number; never_touch: string[]; cautions: string[]; warnings: string[]; steps: Step[] }
export interface SignOff { step: string; operator: string; signed_at: string; value?: number; unit?: string; skipped: boolean; reason?: string }
export interface Run {
  id: string
  job: string
  mould?: string
  started_at: string
  operator: string
  plan?: Plan
  steps?: { step: string; title: string; hard: boolean }[]
  signed?: SignOff[]
  of: number
  done: number
}
export interface Bench { shots?: number; temp_c?: number; cure_c?: number; cup_ml?: number; vacuum?: boolean; pot?: boolean; printed?: string; again?: boolean }
export interface Signature { step: string; operator: string; value?: number; unit?: string; skipped?: boolean; reason?: string; key: string; signed_at: string }

const run = (id: string) => `/api/runs/${encodeURIComponent(id)}`

export const server = {
  job: (id: string) => json<{ name: string; has_report: boolean; refused: boolean; stale: boolean }>('GET', at(id)),
  runs: (id: string) => json<Run[]>('GET', `${at(id)}/runs`),
  begin: (id: string, b: Bench & { operator: string; mould?: string; key: string }) => json<Run>('POST', `${at(id)}/runs`, b),
  run: (id: string) => json<Run>('GET', run(id)),
  sign: (id: string, s: Signature) => json<Run>('POST', `${run(id)}/signs`, s),
  signIn: (token: string) => call('POST', '/api/session', { token }),
}

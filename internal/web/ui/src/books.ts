// The records as the server gives and takes them; docs/api.md describes it.
import { json } from './http'

export interface Defect { code: string; place: string }
export interface Mould { id: string; name: string; job: string; family: string; made_on: string; expected_shots: number; retired_on?: string; life: { words: string; fillings: number; good: number; mended: number; scrap: number } }
export interface Casting { id: string; mould: string; run?: string; poured_at: string; outcome: string; casting_g?: number; predicted_g?: number; defects?: Defect[]; operator: string; notes?: string }
export interface Cause { cause: string; words: string; why: string; do: string; for?: string[]; against?: string[]; source: string }
export interface NewMould { name: string; job: string; family?: string; made_on: string; expected_shots?: number; operator: string; key: string }
export interface NewCasting { mould: string; run?: string; outcome: string; casting_g?: number; defects?: Defect[]; operator: string; notes?: string; key: string }

/** How a casting may have come out, with its words. */
export const OUTCOMES: Record<string, string> = { good: 'good', mended: 'mended', scrap: 'scrap', pending: 'not judged yet' }

export const recordApi = {
  moulds: () => json<Mould[]>('GET', '/api/records/moulds'),
  castings: (of: { mould?: string; job?: string }) => json<Casting[]>('GET', '/api/records/shots' + asked(of)),
  defects: () => json<{ code: string; words: string }[]>('GET', '/api/records/defects'),
  causes: (shot: string, defect: string, job: string) => json<Cause[]>('GET', `/api/records/shots/${encodeURIComponent(shot)}/causes${asked({ defect, job })}`),
  addMould: (m: NewMould) => json<Mould>('POST', '/api/records/moulds', m),
  addCasting: (c: NewCasting) => json<Casting>('POST', '/api/records/shots', c),
}

/** The end of an address: what is asked for, but for what is empty. */
function asked(of: Record<string, string>): string {
  const all = Object.entries(of).filter(([, v]) => v).map(([k, v]) => `${k}=${encodeURIComponent(v)}`)
  return all.length ? '?' + all.join('&') : ''
}

/** A key that makes sending twice harmless. */
export const newKey = () => crypto.getRandomValues(new Uint32Array(4)).join('-')

/** Today on this device, as the records write a day. */
export function today(): string {
  const t = new Date()
  return `${t.getFullYear()}-${String(t.getMonth() + 1).padStart(2, '0')}-${String(t.getDate()).padStart(2, '0')}`
}

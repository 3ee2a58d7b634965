// The colours of the view. Blue leaves with the upper half, orange with the lower: a pair that every
// common colour blindness keeps apart. The darker, the tighter; what locks is striped as well, so
// that it never hangs on colour alone.

export type Rgb = [number, number, number]

export interface Step { from: number; to: number; colour: string; words: string }

const UP = ['#17568f', '#4d94c6', '#93bfdd', '#c6dcea']
const DOWN = ['#96450a', '#cf7a2c', '#e8ab6d', '#f3d6b4']
export const WALL = '#2a2433'
export const LOCKED = '#b8155f'
export const SHOWN = '#f2b33d'

/** Draft steps for a wanted draft: tight below it, then up to three and six times it. */
export function draftSteps(asked: number): Step[] {
  const a = asked || 1
  const bounds = [0.05, a, 3 * a, 6 * a, 90]
  const steps: Step[] = []
  for (let i = 3; i >= 0; i--) steps.push({ from: bounds[i]!, to: bounds[i + 1]!, colour: UP[i]!, words: 'upper half' })
  steps.push({ from: -0.05, to: 0.05, colour: WALL, words: 'wall, no draft' })
  for (let i = 0; i < 4; i++) steps.push({ from: -bounds[i + 1]!, to: -bounds[i]!, colour: DOWN[i]!, words: 'lower half' })
  return steps
}

export function rgb(hex: string): Rgb {
  const v = parseInt(hex.slice(1), 16)
  return [v >> 16, (v >> 8) & 255, v & 255].map((c) => linear(c / 255)) as Rgb
}

/** three computes with linear light. */
function linear(c: number): number {
  return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4
}

export function draftColour(steps: Step[]): (deg: number) => Rgb {
  const table = steps.map((s) => ({ from: s.from, colour: rgb(s.colour) }))
  return (deg) => (table.find((s) => deg >= s.from) ?? table[table.length - 1]!).colour
}

// The 3D view: one part, or one mould with its pieces. It draws only when something changed.
import {
  AmbientLight, BackSide, BufferAttribute, BufferGeometry, Color, DirectionalLight, FrontSide, Group, HemisphereLight, LineBasicMaterial, LineLoop, LineSegments,
  Mesh, MeshBasicMaterial, MeshLambertMaterial, type Material, PerspectiveCamera, Plane, Raycaster, RingGeometry, Scene, Spherical, Vector2, Vector3, WebGLRenderer, Box3, Sphere, DoubleSide,
} from 'three'
import { OrbitControls } from 'three/addons/controls/OrbitControls.js'
import { MeshBVH, acceleratedRaycast } from 'three-mesh-bvh'
import type { Vec } from './api'
import { inkLines, surface, type Surface } from './surface'
import { coarse } from './coarse'
import { pouredInto, type Filling } from './filling'
import { rgb, type Rgb } from './scale'

Mesh.prototype.raycast = acceleratedRaycast

export interface Body {
  name: string
  group: Group
  mesh: Mesh<BufferGeometry, MeshLambertMaterial>
  back?: Mesh // shown in a section: faces seen from behind
  ink: LineSegments
  facets: number
  exit: Vector3
  cut: Material[] // what a section cuts
  rough?: { mesh: Mesh<BufferGeometry, MeshLambertMaterial>; of: Uint32Array } // shown while the view moves
}

/** The view rests when nothing has moved for so long. */
const REST_MS = 250

const reduced = matchMedia('(prefers-reduced-motion: reduce)')
const darkness = matchMedia('(prefers-color-scheme: dark)')

export class Stage {
  readonly canvas: HTMLCanvasElement
  onPick: ((point: Vec) => void) | null = null
  private renderer: WebGLRenderer
  private scene = new Scene()
  private camera = new PerspectiveCamera(32, 1, 0.1, 5000)
  private controls: OrbitControls
  private bodies: Body[] = []
  private lines = new Group()
  private marker: Mesh
  private bounds = new Box3()
  private sphere = new Sphere(new Vector3(), 50)
  private clip = new Plane(new Vector3(0, 0, -1), 0)
  private cutting = false
  private queued = false
  private resting = 0
  private isRough = false
  private moving = 0
  private down: { x: number; y: number; at: number } | null = null
  private inkMaterial = new LineBasicMaterial({ color: 0x14211f, transparent: true, opacity: 0.55 })
  private lineMaterial = new LineBasicMaterial({ color: 0x000000, linewidth: 2, depthTest: true })

  constructor(box: HTMLElement) {
    this.canvas = document.createElement('canvas')
    this.canvas.tabIndex = 0
    this.canvas.setAttribute('role', 'img')
    this.canvas.setAttribute('aria-label', '3D view')
    this.canvas.setAttribute('aria-describedby', 'view-keys')
    box.append(this.canvas)
    this.renderer = new WebGLRenderer({ canvas: this.canvas, antialias: true, alpha: true, preserveDrawingBuffer: false })
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2))
    this.renderer.setClearAlpha(0)
    this.renderer.localClippingEnabled = true
    this.camera.up.set(0, 0, 1)
    this.controls = new OrbitControls(this.camera, this.canvas)
    this.controls.addEventListener('change', () => this.draw())
    this.controls.addEventListener('start', () => this.rough(true))
    this.controls.addEventListener('end', () => this.settle())
    this.controls.zoomSpeed = 1.2
    const key = new DirectionalLight(0xffffff, 1.7)
    key.position.set(-0.5, 0.8, 1)
    this.camera.add(key)
    this.scene.add(this.camera, new AmbientLight(0xffffff, 0.55), new HemisphereLight(0xffffff, 0x8a9a95, 0.9), this.lines)
    this.marker = new Mesh(new RingGeometry(0.86, 1, 48), new MeshBasicMaterial({ color: 0xb8155f, side: DoubleSide, depthTest: false, transparent: true }))
    this.marker.renderOrder = 5
    this.marker.visible = false
    this.scene.add(this.marker)
    new ResizeObserver(() => this.resize(box)).observe(box)
    darkness.addEventListener('change', () => this.dress())
    this.dress()
    this.listen()
  }

  /** Takes everything off and shows these bodies. */
  show(bodies: Body[], fit = true): void {
    this.rough(false)
    for (const b of this.bodies) this.scene.remove(b.group)
    this.bodies = bodies
    this.bounds.makeEmpty()
    for (const b of bodies) {
      this.scene.add(b.group)
      b.mesh.geometry.computeBoundingBox()
      this.bounds.union(b.mesh.geometry.boundingBox!)
    }
    this.lines.clear()
    this.mark(null)
    if (!this.bounds.isEmpty()) this.bounds.getBoundingSphere(this.sphere)
    this.section(null)
    this.open(0)
    if (fit) this.fit()
    this.draw()
  }

  make(name: string, s: Surface, colour: Rgb, exit: Vec = [0, 0, 0]): Body {
    const material = new MeshLambertMaterial({ vertexColors: true, side: FrontSide, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 })
    stripe(material)
    const mesh = new Mesh(s.geometry, material)
    // Faces seen from behind are inside the solid: in one flat colour a cut looks filled.
    const back = new Mesh(s.geometry, new MeshBasicMaterial({ color: new Color().setRGB(...colour).multiplyScalar(0.62), side: BackSide }))
    back.visible = false
    const ink = inkLines(s.edges, this.inkMaterial)
    const group = new Group()
    group.add(mesh, back, ink)
    const b: Body = { name, group, mesh, back, ink, facets: s.facets, exit: new Vector3(...exit), cut: [material, back.material] }
    const low = coarse(s)
    if (low) {
      const m = new MeshLambertMaterial({ vertexColors: true, side: FrontSide })
      stripe(m)
      b.rough = { mesh: new Mesh(low.geometry, m), of: low.of }
      b.rough.mesh.visible = false
      group.add(b.rough.mesh)
      b.cut.push(m)
    }
    this.paint(b, () => colour)
    return b
  }

  /** A casting that resin rises in. */
  makeFilling(s: Surface, wet: Float32Array, resin: Rgb, air: Rgb): Filling {
    const f = pouredInto(s, inkLines(s.edges, this.inkMaterial), wet, resin, air)
    return { ...f, pour: (share) => { f.pour(share); this.draw() } }
  }

  static surface(positions: Float32Array, corners: Uint32Array): Surface {
    const s = surface(positions, corners)
    s.geometry.boundsTree = new MeshBVH(s.geometry)
    return s
  }

  /** Colours each facet; striped ones carry a pattern besides. */
  paint(b: Body, colour: (facet: number) => Rgb, striped: (facet: number) => boolean = () => false): void {
    const c = b.mesh.geometry.getAttribute('color') as BufferAttribute
    const s = b.mesh.geometry.getAttribute('striped') as BufferAttribute
    for (let i = 0; i < b.facets; i++) {
      const [r, g, bl] = colour(i)
      const on = striped(i) ? 1 : 0
      for (let k = 0; k < 3; k++) {
        const v = 3 * i + k // the tree of the mesh permutes an index, never the attributes
        c.setXYZ(v, r, g, bl)
        s.setX(v, on)
      }
    }
    c.needsUpdate = true
    s.needsUpdate = true
    if (b.rough) {
      const rc = b.rough.mesh.geometry.getAttribute('color') as BufferAttribute
      const rs = b.rough.mesh.geometry.getAttribute('striped') as BufferAttribute
      b.rough.of.forEach((f, i) => {
        for (let k = 0; k < 3; k++) {
          rc.setXYZ(3 * i + k, c.getX(3 * f), c.getY(3 * f), c.getZ(3 * f))
          rs.setX(3 * i + k, s.getX(3 * f))
        }
      })
      rc.needsUpdate = true
      rs.needsUpdate = true
    }
    this.draw()
  }

  /** Shows large bodies by their stand-ins, or as they are. */
  private rough(on: boolean): void {
    clearTimeout(this.resting)
    if (this.isRough === on) return
    this.isRough = on
    for (const b of this.bodies) {
      if (!b.rough) continue
      b.rough.mesh.visible = on
      b.mesh.visible = b.ink.visible = !on
    }
    this.draw()
  }

  /** The view moves: large bodies are rough until it has come to rest. */
  private settle(): void {
    this.rough(true)
    this.resting = window.setTimeout(() => this.rough(false), REST_MS)
  }

  /** Draws closed lines, such as the parting line. */
  loops(all: Float32Array[]): void {
    this.lines.clear()
    for (const l of all) {
      const g = new BufferGeometry()
      g.setAttribute('position', new BufferAttribute(l, 3))
      const front = new LineLoop(g, this.lineMaterial)
      front.renderOrder = 3
      this.lines.add(front)
      // Lines are a pixel wide in most browsers; a ribbon of offsets makes it legible.
      const r = this.sphere.radius * 0.0022
      for (const d of [[r, 0, 0], [-r, 0, 0], [0, r, 0], [0, -r, 0], [0, 0, r], [0, 0, -r]] as Vec[]) {
        const twin = new LineLoop(g, this.lineMaterial)
        twin.position.set(...d)
        this.lines.add(twin)
      }
    }
    this.draw()
  }

  showLoops(on: boolean): void {
    this.lines.visible = on
    this.draw()
  }

  /** Cuts with a plane across an axis at a share of the extent; null shows all. */
  section(cut: { axis: 0 | 1 | 2; share: number } | null): void {
    this.cutting = cut !== null
    if (cut) {
      const lo = this.bounds.min.getComponent(cut.axis), hi = this.bounds.max.getComponent(cut.axis)
      this.clip.normal.set(0, 0, 0).setComponent(cut.axis, -1)
      this.clip.constant = lo + (hi - lo) * cut.share
    }
    const planes = this.cutting ? [this.clip] : []
    for (const b of this.bodies) {
      if (b.back) b.back.visible = this.cutting
      for (const m of b.cut) m.clippingPlanes = planes
    }
    this.inkMaterial.clippingPlanes = planes
    this.lineMaterial.clippingPlanes = planes
    this.draw()
  }

  /** Moves the pieces out along their proven ways, one after the other; t runs from 0 to 1. */
  open(t: number): void {
    const movers = this.movers()
    movers.forEach(({ body, reach }, i) => {
      const own = Math.min(1, Math.max(0, t * movers.length - i))
      body.group.quaternion.identity()
      body.group.position.copy(body.exit).multiplyScalar(reach * own)
    })
    this.draw()
  }

  /** Pieces in the order they leave. One that leaves first goes farther, so that none ends in another. */
  private movers(): { body: Body; reach: number }[] {
    const far = this.travel()
    const order = this.bodies.filter((b) => b.exit.lengthSq() > 0).reverse()
    return order.map((body, i) => ({ body, reach: far * (1 + order.slice(i + 1).filter((o) => o.exit.dot(body.exit) > 0.9).length) }))
  }

  /** Stands a body at an angle about an edge of it, in degrees; its far side is up. */
  lower(b: Body, hinge: { At: { X: number; Y: number; Z: number }; Along: { X: number; Y: number; Z: number } }, deg: number): void {
    const at = new Vector3(hinge.At.X, hinge.At.Y, hinge.At.Z)
    const along = new Vector3(hinge.Along.X, hinge.Along.Y, hinge.Along.Z).normalize()
    const middle = b.mesh.geometry.boundingBox!.getCenter(new Vector3()).sub(at)
    const up = new Vector3().crossVectors(along, middle).z > 0 ? 1 : -1
    b.group.quaternion.setFromAxisAngle(along, (up * deg * Math.PI) / 180)
    b.group.position.copy(at).sub(at.clone().applyQuaternion(b.group.quaternion))
    this.draw()
  }

  /** All pieces apart at once. */
  explode(on: boolean): void {
    for (const { body, reach } of this.movers()) {
      body.group.quaternion.identity()
      body.group.position.copy(body.exit).multiplyScalar(on ? 0.75 * reach : 0)
    }
    this.refit()
  }

  private travel(): number {
    const size = this.bounds.getSize(new Vector3())
    let along = 0
    for (const b of this.bodies) along = Math.max(along, Math.abs(b.exit.dot(size)))
    return along * 1.1
  }

  /** Animates a number from a to b; at once where motion is unwelcome. */
  animate(seconds: number, step: (share: number) => void, done: () => void): void {
    const run = ++this.moving
    if (reduced.matches) {
      step(1)
      done()
      return
    }
    const start = performance.now()
    const tick = (now: number) => {
      if (run !== this.moving) return
      const s = Math.min(1, (now - start) / (1000 * seconds))
      step(s)
      if (s < 1) requestAnimationFrame(tick)
      else done()
    }
    requestAnimationFrame(tick)
  }

  stop(): void {
    this.moving++
  }

  /** Rings a place and turns the view so that its face looks at the viewer. */
  mark(place: { at: Vec; normal: Vec } | null): void {
    this.marker.visible = place !== null
    if (place) {
      const n = new Vector3(...place.normal)
      this.marker.position.set(...place.at)
      this.marker.scale.setScalar(this.sphere.radius * 0.12)
      // A little from above or below, whichever side the face leans to, so that a wall inside a cup is
      // seen over the rim.
      const level = new Vector3(n.x, n.y, 0)
      const from = level.lengthSq() > 0.01 ? level.normalize().multiplyScalar(0.8).add(new Vector3(0, 0, n.z < -0.3 ? -0.75 : 0.75)) : n
      this.look(from.normalize())
    }
    this.draw()
  }

  fit(): void {
    this.look(new Vector3(0.62, -1, 0.72).normalize())
  }

  /** As near as shows all, from where the viewer stands. */
  refit(): void {
    this.look(this.camera.position.clone().sub(this.controls.target).normalize())
  }

  /** What the bodies take up where they are now. */
  private extent(): Sphere {
    const all = new Box3()
    for (const b of this.bodies) {
      const box = b.mesh.geometry.boundingBox
      if (box && b.group.visible) all.union(box.clone().translate(b.group.position))
    }
    return all.isEmpty() ? this.sphere.clone() : all.getBoundingSphere(new Sphere())
  }

  private look(from: Vector3): void {
    const extent = this.extent()
    const r = extent.radius * 1.04
    const half = Math.min(this.camera.fov * Math.PI / 360, Math.atan(Math.tan(this.camera.fov * Math.PI / 360) * this.camera.aspect))
    this.controls.target.copy(extent.center)
    this.camera.position.copy(extent.center).addScaledVector(from, r / Math.sin(half))
    this.camera.near = Math.max(r / 100, 0.01)
    this.camera.far = r * 40
    this.camera.updateProjectionMatrix()
    this.controls.update()
    this.draw()
  }

  draw(): void {
    if (this.queued) return
    this.queued = true
    requestAnimationFrame(() => {
      this.queued = false
      this.marker.quaternion.copy(this.camera.quaternion)
      this.renderer.render(this.scene, this.camera)
      this.canvas.dataset['frames'] = String(Number(this.canvas.dataset['frames'] ?? 0) + 1)
    })
  }

  private dress(): void {
    const dark = darkness.matches
    this.inkMaterial.color.set(dark ? 0x05090a : 0x14211f)
    this.lineMaterial.color.set(dark ? 0xffffff : 0x000000)
    this.draw()
  }

  private resize(box: HTMLElement): void {
    const w = Math.max(1, box.clientWidth), hgt = Math.max(1, box.clientHeight)
    this.renderer.setSize(w, hgt)
    const first = this.camera.aspect === 1
    this.camera.aspect = w / hgt
    this.camera.updateProjectionMatrix()
    if (first) this.fit()
    else this.refit()
  }

  private listen(): void {
    this.canvas.addEventListener('pointerdown', (e) => (this.down = { x: e.clientX, y: e.clientY, at: e.timeStamp }))
    this.canvas.addEventListener('pointerup', (e) => {
      const d = this.down
      this.down = null
      if (d && this.onPick && Math.hypot(e.clientX - d.x, e.clientY - d.y) < 5) this.pickAt(e)
    })
    this.canvas.addEventListener('keydown', (e) => {
      const turn: Record<string, [number, number]> = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }
      const t = turn[e.key]
      if (t) this.turn(t[0] * 0.12, t[1] * 0.12)
      else if (e.key === '+' || e.key === '=') this.zoom(0.88)
      else if (e.key === '-') this.zoom(1 / 0.88)
      else if (e.key === '0') this.fit()
      else return
      e.preventDefault()
    })
  }

  private turn(azimuth: number, polar: number): void {
    this.settle()
    const off = this.camera.position.clone().sub(this.controls.target)
    // Spherical has y up; the scene has z up.
    const s = new Spherical().setFromCartesianCoords(off.x, off.z, -off.y)
    s.theta += azimuth
    s.phi = Math.min(Math.PI - 0.02, Math.max(0.02, s.phi + polar))
    const v = new Vector3().setFromSpherical(s)
    this.camera.position.set(v.x, -v.z, v.y).add(this.controls.target)
    this.controls.update()
  }

  private zoom(by: number): void {
    this.settle()
    this.camera.position.sub(this.controls.target).multiplyScalar(by).add(this.controls.target)
    this.controls.update()
  }

  private pickAt(e: PointerEvent): void {
    const box = this.canvas.getBoundingClientRect()
    const at = new Vector2(((e.clientX - box.left) / box.width) * 2 - 1, 1 - ((e.clientY - box.top) / box.height) * 2)
    const ray = new Raycaster()
    ray.setFromCamera(at, this.camera)
    const hits = ray.intersectObjects(this.bodies.filter((b) => b.group.visible).map((b) => b.mesh), false)
    const hit = hits.find((q) => !this.cutting || this.clip.distanceToPoint(q.point) >= 0)
    if (hit) this.onPick?.(hit.point.toArray() as Vec)
  }
}

/** Adds slanted stripes, in the plane of the screen, where the striped attribute is on. */
function stripe(m: MeshLambertMaterial): void {
  m.onBeforeCompile = (s) => {
    s.vertexShader = 'attribute float striped;\nvarying float vStriped;\n' + s.vertexShader.replace('#include <begin_vertex>', '#include <begin_vertex>\n  vStriped = striped;')
    s.fragmentShader = 'varying float vStriped;\n' + s.fragmentShader.replace('#include <color_fragment>', '#include <color_fragment>\n  if (vStriped > 0.5 && mod(gl_FragCoord.x + gl_FragCoord.y, 9.0) < 3.0) diffuseColor.rgb = mix(diffuseColor.rgb, vec3(1.0), 0.75);')
  }
}

export const neutral = (): Rgb => rgb(darkness.matches ? '#93a39e' : '#c3cdc9')

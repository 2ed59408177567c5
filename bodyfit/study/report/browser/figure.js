// The moving figure: the glTF scene, a camera that keeps it in view, a floor under one that has feet.
const figure = { ready: false, time: START, joint: null };
const VIEWS = { front: [0, .12], right: [-Math.PI / 2, .12], left: [Math.PI / 2, .12], behind: [Math.PI, .12], above: [0, 1.45] };
const SAMPLES = 300, FIELD = 30;  // moments looked at for framing; degrees of the camera

function startFigure() {
  try {
    figure.renderer = new THREE.WebGLRenderer({ canvas: byId("canvas"), antialias: true, alpha: true, preserveDrawingBuffer: true });
  } catch (error) {
    return noFigure("This browser draws no 3-D (WebGL is off), so the figure is not shown. Curves and tables work without it.");
  }
  figure.renderer.outputEncoding = THREE.sRGBEncoding;
  const scene = figure.scene = new THREE.Scene();
  scene.add(new THREE.HemisphereLight(shown("sheet"), shown("edge"), .85));
  figure.lamp = new THREE.DirectionalLight(shown("sheet"), .55);
  scene.add(figure.lamp, figure.lamp.target);
  figure.camera = new THREE.PerspectiveCamera(FIELD, 1, .05, 200);
  new THREE.GLTFLoader().parse(bytes(byId("scene").textContent).buffer, "", showBody,
    error => noFigure("The figure could not be drawn: " + error.message));
}

function noFigure(why) {
  byId("no-figure").textContent = why;
  byId("no-figure").hidden = false;
  byId("canvas").hidden = true;
  byId("figure").dataset.ready = "no";
}

function showBody(gltf) {
  figure.body = gltf.scene;
  figure.root = gltf.scene.children[0];
  figure.scene.add(gltf.scene);
  figure.mixer = new THREE.AnimationMixer(gltf.scene);
  for (const clip of gltf.animations) {
    const action = figure.mixer.clipAction(clip);
    action.setLoop(THREE.LoopOnce);
    action.clampWhenFinished = true;
    action.play();
    figure.length = clip.duration;
  }
  frameBody();
  if (figure.stands) layFloor();
  tagSides();
  figure.marker = new THREE.Mesh(new THREE.SphereGeometry(.028 * figure.reach, 20, 14),
    new THREE.MeshBasicMaterial({ color: shown("chosen"), depthTest: false, transparent: true, opacity: .85 }));
  figure.marker.renderOrder = 2;
  figure.scene.add(figure.marker);
  figure.ready = true;
  byId("figure").dataset.ready = "yes";
  lookFrom("front", .55);
  watchPointer();
  new ResizeObserver(drawFigure).observe(byId("figure"));
}

function poseAt(time) {
  figure.mixer.setTime(clamp(time - START, 0, (figure.length || 0) - 1e-4));
  figure.scene.updateMatrixWorld(true);
}

// How far the body reaches from a point that goes with its root, where its lowest point goes, and the root's path
function frameBody() {
  const box = new THREE.Box3(), at = new THREE.Vector3(), meshes = [], centre = new THREE.Vector3();
  figure.body.traverse(node => { if (node.isMesh) { node.geometry.computeBoundingSphere(); meshes.push(node); } });
  figure.stands = meshes.some(node => /foot$/.test(node.name));
  figure.path = [];
  let low = Infinity, high = -Infinity;
  const places = [];
  for (let n = 0; n <= SAMPLES; n++) {
    poseAt(START + (END - START) * n / SAMPLES);
    figure.root.getWorldPosition(at);
    box.setFromObject(figure.body);
    low = Math.min(low, box.min.y - at.y); high = Math.max(high, box.max.y - at.y);
    figure.path.push(new THREE.Vector3(at.x, box.min.y, at.z));
    for (const { geometry: { boundingSphere }, matrixWorld } of meshes) {
      places.push([centre.copy(boundingSphere.center).applyMatrix4(matrixWorld).sub(at).clone(), boundingSphere.radius]);
    }
  }
  figure.walks = figure.path.some(point => Math.hypot(point.x - figure.path[0].x, point.z - figure.path[0].z) > .3);
  figure.lowest = Math.min(...figure.path.map(point => point.y));
  figure.middle = new THREE.Vector3(0, (low + high) / 2, 0);
  figure.reach = .1;
  for (const [place, radius] of places) figure.reach = Math.max(figure.reach, place.distanceTo(figure.middle) + .8 * radius);
}

// Height of what the body stands on: the lowest point near a time, so that the floor goes up and down with stairs;
// under a body that stays in its place the floor stays too
function groundAt(time) {
  if (!figure.walks) return figure.lowest;
  const along = SAMPLES * clamp((time - START) / (END - START || 1), 0, 1), before = Math.min(Math.floor(along), SAMPLES - 1);
  const lowest = n => Math.min(...figure.path.slice(Math.max(n - 1, 0), n + 2).map(point => point.y));
  return THREE.MathUtils.lerp(lowest(before), lowest(before + 1), along - before);
}

const shown = name => new THREE.Color(colour(name)).convertSRGBToLinear();

// The square lines of the floor, cell by cell: some drivers lose a line that runs past the camera
function floorLines(cells) {
  const points = [], { step } = figure;
  for (let a = -cells; a <= cells; a++) {
    for (let b = -cells; b < cells; b++) {
      for (const [from, to] of [[[a, b], [a, b + 1]], [[b, a], [b + 1, a]]]) {
        points.push(new THREE.Vector3(from[0] * step, 0, from[1] * step), new THREE.Vector3(to[0] * step, 0, to[1] * step));
      }
    }
  }
  return new THREE.LineSegments(new THREE.BufferGeometry().setFromPoints(points), new THREE.LineBasicMaterial({ color: shown("line") }));
}

// Means over about five moments, so that single steps do not show
function smoothed(path) {
  return path.map((_, n) => {
    const near = path.slice(Math.max(n - 2, 0), n + 3), mean = new THREE.Vector3();
    for (const point of near) mean.add(point);
    return mean.divideScalar(near.length);
  });
}

function layFloor() {
  figure.step = figure.reach > .7 ? .5 : .25;
  const grid = figure.grid = floorLines(12);
  const shade = figure.shade = new THREE.Mesh(new THREE.CircleGeometry(.32 * figure.reach, 40),
    new THREE.MeshBasicMaterial({ color: shown("ink"), transparent: true, opacity: .16, depthWrite: false }));
  shade.rotation.x = -Math.PI / 2;
  const path = new THREE.Line(new THREE.BufferGeometry().setFromPoints(smoothed(figure.path)), new THREE.LineBasicMaterial({ color: shown("warning") }));
  figure.scene.add(grid, shade, path);
  figure.scene.fog = new THREE.Fog(shown("paper"), 1, 9);
  path.visible = figure.walks;
  byId("layout").append(` Floor squares ${figure.step} m.` + (figure.walks ? " Brown line: the path of the body over the ground, coarse; the floor goes with the feet." : ""));
}

// Letters at the outermost segments of each side
function tagSides() {
  figure.tags = [];
  figure.body.traverse(node => {
    const side = { l: "left", r: "right" }[/^[lr](?=_)/.exec(node.name)?.[0]];
    if (!node.isMesh || !side || node.children.some(child => child.name)) return;
    const tag = make("span", { class: side });
    tag.textContent = side === "left" ? "L" : "R";
    byId("tags").append(tag);
    figure.tags.push({ tag, node, centre: node.geometry.boundingSphere.center });
  });
}

// Camera: two angles and a distance about a point that goes with the root; a view is meant from where the body faces
function lookFrom(view, turned = 0) {
  const front = new THREE.Vector3(0, 0, 1).applyQuaternion(figure.root.getWorldQuaternion(new THREE.Quaternion()));
  figure.around = Math.atan2(front.x, front.z) + VIEWS[view][0] + turned;
  figure.above = VIEWS[view][1];
  figure.zoom = figure.zoom || 1;
  drawFigure();
}

function placeCamera() {
  const { camera } = figure, area = byId("figure"), target = figure.root.getWorldPosition(new THREE.Vector3());
  const [width, height] = [area.clientWidth, area.clientHeight];
  figure.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
  if (figure.width !== width || figure.height !== height) figure.renderer.setSize(width, height, false);
  Object.assign(figure, { width, height });
  camera.aspect = width / height;
  const half = THREE.MathUtils.degToRad(FIELD / 2), narrow = Math.atan(Math.tan(half) * Math.min(1, camera.aspect));
  const far = figure.zoom * figure.reach / Math.sin(narrow), flat = far * Math.cos(figure.above);
  const ground = figure.stands ? groundAt(figure.time) : 0;
  if (figure.stands) figure.grid.position.set(Math.round(target.x / figure.step) * figure.step, ground - .006, Math.round(target.z / figure.step) * figure.step);
  if (figure.stands) figure.shade.position.set(target.x, ground - .003, target.z);
  target.add(figure.middle);
  camera.position.set(target.x + flat * Math.sin(figure.around), target.y + far * Math.sin(figure.above), target.z + flat * Math.cos(figure.around));
  camera.lookAt(target);
  camera.updateProjectionMatrix();
  camera.updateMatrixWorld();
  if (figure.stands) Object.assign(figure.scene.fog, { near: far, far: far + 5 * figure.reach });
  figure.lamp.position.copy(camera.position).add(new THREE.Vector3(.4 * far, .8 * far, 0));
  figure.lamp.target.position.copy(target);
}

function drawFigure() {
  if (!figure.ready || !byId("figure").clientWidth) return;
  poseAt(figure.time);
  const joint = figure.joint && figure.body.getObjectByName(figure.joint);
  figure.marker.visible = !!joint;
  if (joint) joint.getWorldPosition(figure.marker.position);
  placeCamera();
  figure.scene.updateMatrixWorld(true);
  figure.renderer.render(figure.scene, figure.camera);
  const at = new THREE.Vector3();
  for (const { tag, node, centre } of figure.tags) {
    at.copy(centre).applyMatrix4(node.matrixWorld).project(figure.camera);
    tag.style.left = 50 * (1 + at.x) + "%";
    tag.style.top = 50 * (1 - at.y) + "%";
  }
}

function watchPointer() {
  const area = byId("figure"), held = new Map();
  const apart = () => { const [a, b] = [...held.values()]; return Math.hypot(a.x - b.x, a.y - b.y); };
  area.addEventListener("pointerdown", event => { held.set(event.pointerId, { x: event.clientX, y: event.clientY }); area.setPointerCapture(event.pointerId); });
  for (const end of ["pointerup", "pointercancel"]) area.addEventListener(end, event => held.delete(event.pointerId));
  area.addEventListener("pointermove", event => {
    const before = held.get(event.pointerId);
    if (!before) return;
    const distance = held.size === 2 ? apart() : 0;
    const [dx, dy] = [event.clientX - before.x, event.clientY - before.y];
    held.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (held.size === 2) return zoomBy(distance / Math.max(apart(), 1));
    figure.around -= .008 * dx;
    figure.above = clamp(figure.above + .008 * dy, -.3, 1.5);
    drawFigure();
  });
  area.addEventListener("wheel", event => {
    if (document.activeElement !== area) return;  // the page scrolls until the figure is chosen
    event.preventDefault();
    zoomBy(Math.exp(.001 * event.deltaY));
  }, { passive: false });
}

function zoomBy(factor) {
  figure.zoom = clamp(figure.zoom * factor, .25, 4);
  drawFigure();
}

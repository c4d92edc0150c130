"""The contrast of text as it is drawn: from the picture of a page with its letters, and one without.

For text over pictures, canvases, gradients or other elements a tool that reads styles cannot tell the ground; the picture can.
"""

import io
from typing import Any

import numpy as np
from PIL import Image

FADE = """([targets, colour]) => { window.faded = targets.map((target) => document.querySelector(target)).filter(Boolean);
    for (const one of window.faded) {
        one.style.setProperty("-webkit-text-fill-color", colour, "important");
        if (one instanceof SVGElement) one.style.setProperty("fill", colour, "important"); } }"""
UNFADE = """() => { for (const one of window.faded) { one.style.removeProperty("-webkit-text-fill-color");
    if (one instanceof SVGElement) one.style.removeProperty("fill"); } }"""
# One entry an element: its own colour with all see-through parts, letters' size and weight, and the boxes of its own text.
LETTERS = """(targets) => targets.map((target) => {
    const one = document.querySelector(target);
    if (!one) return null;
    const style = getComputedStyle(one), isInput = "placeholder" in one;
    const shown = isInput && !one.value ? getComputedStyle(one, "::placeholder") : style;
    const pen = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
    pen.fillStyle = one instanceof SVGElement ? style.fill : shown.color; pen.fillRect(0, 0, 1, 1);
    const colour = [...pen.getImageData(0, 0, 1, 1).data];
    let opacity = colour[3] / 255;
    for (let up = one; up; up = up.parentElement) opacity *= Number(getComputedStyle(up).opacity);
    const boxes = [];
    for (const child of isInput ? [] : one.childNodes) {
        if (child.nodeType !== Node.TEXT_NODE || !child.textContent.trim()) continue;
        const range = document.createRange();
        range.selectNodeContents(child);
        boxes.push(...range.getClientRects());
    }
    if (isInput || one instanceof HTMLSelectElement) boxes.push(one.getBoundingClientRect());
    return { colour: colour.slice(0, 3), opacity, size: parseFloat(style.fontSize), bold: Number(style.fontWeight) >= 700,
        text: (one.value || one.textContent).trim().slice(0, 40),
        boxes: boxes.map((box) => [box.left, box.top, box.right, box.bottom]) };
})"""
LOUD = "rgb(255, 0, 255)"
UNSEEN, SAME = "unseen", "has the colour of its ground"
SETTLES_MS = 300
"""A map moves for a while after it was scrolled to."""
LARGE_PX, LARGE_BOLD_PX = 24.0, 18.66
LETTER = 24
"""By so much (of 255) a pixel must change for a letter to be there; the paler edge of a letter is no letter."""
WORST = 0.1
"""A letter's ground may be worse in a tenth of its pixels: where it crosses a thin stroke."""


def least_contrast(size: float, *, bold: bool) -> float:
    """WCAG 2.2, 1.4.3 Contrast (Minimum), AA: 4.5; 3 for 18 pt (24 px), or 14 pt bold."""
    return 3.0 if size >= LARGE_PX or (bold and size >= LARGE_BOLD_PX) else 4.5


def luminance(colours: Any) -> Any:
    """Relative luminance of colours of 0..255, WCAG 2.2."""
    parts = np.asarray(colours, dtype=float) / 255.0
    parts = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return parts @ np.array([0.2126, 0.7152, 0.0722])


def contrast(one: Any, other: Any) -> Any:
    """Contrast ratio of colours of 0..255, WCAG 2.2: 1 to 21."""
    darker, lighter = np.sort([np.broadcast_arrays(luminance(one), luminance(other))], axis=1)[0]
    return (lighter + 0.05) / (darker + 0.05)


def too_pale(page: Any, targets: list[str]) -> list[str]:
    """Which of these elements' texts cannot be read against what is really drawn below them, each as a sentence."""
    faults = _judged(page, targets)
    # Whatever seems wrong is judged again alone, in sight: it may be scrolled away, with other letters in its place.
    for target in [target for target, fault in faults.items() if fault]:
        page.evaluate("(target) => document.querySelector(target).scrollIntoView({ block: 'center', inline: 'center' })", target)
        page.wait_for_timeout(SETTLES_MS)
        faults.update(_judged(page, [target]))
    return [f"{target}: {fault}" for target, fault in faults.items() if fault not in ("", UNSEEN)]


def _judged(page: Any, targets: list[str]) -> dict[str, str]:
    told = page.evaluate(LETTERS, targets)
    with_letters = picture(page)
    page.evaluate(FADE, [targets, "transparent"])
    without = picture(page)
    page.evaluate(UNFADE)
    faults = {target: _fault(one, with_letters, without) for target, one in zip(targets, told, strict=True) if one is not None}
    unseen = [target for target, fault in faults.items() if fault == UNSEEN]
    if unseen:
        # Letters that stay unseen in a loud colour are covered or cut off; the others have the colour of their ground.
        page.evaluate(FADE, [unseen, LOUD])
        loud = picture(page)
        page.evaluate(UNFADE)
        boxes = {target: one for target, one in zip(targets, told, strict=True) if target in unseen}
        faults.update({target: SAME for target, one in boxes.items() if _fault(one, loud, without) != UNSEEN})
    return faults


def picture(page: Any) -> Any:
    """What a page shows now, as rows of pixels of red, green and blue."""
    return np.asarray(Image.open(io.BytesIO(page.screenshot(animations="disabled", caret="hide", scale="css"))).convert("RGB"))


def _fault(one: dict[str, Any], with_letters: Any, without: Any) -> str:
    grounds = []
    for left, top, right, bottom in one["boxes"]:
        place = np.s_[max(int(top), 0) : max(int(bottom) + 1, 0), max(int(left), 0) : max(int(right) + 1, 0)]
        changed = np.abs(with_letters[place].astype(int) - without[place].astype(int)).max(axis=-1)
        grounds.append(without[place][changed >= min(LETTER, max(int(changed.max(initial=0)), 1))])
    ground = np.concatenate(grounds) if grounds else np.empty((0, 3))
    if not len(ground):
        return UNSEEN
    ink = one["opacity"] * np.array(one["colour"]) + (1.0 - one["opacity"]) * ground
    found, least = float(np.quantile(contrast(ink, ground), WORST)), least_contrast(one["size"], bold=one["bold"])
    return "" if found >= least else f"'{one['text']}' has a contrast of {found:.2f}, less than {least}"

// What is wrong with a page as it is drawn now; see layout.py.
([least, main]) => {
    const told = [], shown = one => one.checkVisibility({ visibilityProperty: true });
    const name = one => one.outerHTML.slice(0, 110).replace(/\s+/g, ' ');
    // what only screen readers see is a pixel wide, and so are its parts
    const folded = one => one.closest('.off-screen') || getComputedStyle(one).clipPath !== 'none'
        || (one.closest('thead') && getComputedStyle(one.closest('thead')).clipPath !== 'none')
        || (one.closest('th') && getComputedStyle(one.closest('th')).clipPath !== 'none');
    const { clientWidth: width } = document.documentElement;
    const wide = document.documentElement.scrollWidth;
    if (wide > width) {
        const out = [...document.querySelectorAll('body *')].filter(one =>
            shown(one) && one.getBoundingClientRect().right > width + 1);
        told.push(`${wide} wide in a window of ${width}: ${name(out.at(-1) ?? document.body)}`);
    }
    for (const part of document.querySelectorAll('main .wide'))
        if (part.localName !== 'pre' && !part.matches('.formula') && shown(part) && part.scrollWidth > part.clientWidth + 1)
            told.push(`cut: ${part.scrollWidth} in ${part.clientWidth}: ${name(part)}`);
    for (const part of document.querySelectorAll('main :is(th, td, dd, p, li, h1, h2, h3, button, a)'))
        if (shown(part) && part.scrollWidth > part.clientWidth + 1 && part.clientWidth
            && getComputedStyle(part).display !== 'inline' && !part.closest('svg, pre, math, .wide') && !folded(part)
            && !part.querySelector('math, .off-screen, svg, pre'))
            told.push(`over its edge: ${part.scrollWidth} in ${part.clientWidth}: ${name(part)}`);
    const inWords = one => {
        if (one.localName !== 'a' || getComputedStyle(one).display !== 'inline') return false;
        const line = one.closest('p, li, dd, td, th, figcaption, summary, footer, span, div');
        return line && line.textContent.trim() !== one.textContent.trim();
    };
    const targets = [...document.querySelectorAll(
        'a[href], button, input:not([type=hidden]), select, textarea, summary')].filter(one =>
        shown(one) && !one.closest('.skip, .off-screen') && !one.disabled);
    const boxes = targets.map(one => {
        const box = one.getBoundingClientRect(), label = one.labels?.[0]?.getBoundingClientRect();
        if (!label || !/checkbox|radio/.test(one.type)) return box;
        return new DOMRect(Math.min(box.x, label.x), Math.min(box.y, label.y),
            Math.max(box.right, label.right) - Math.min(box.x, label.x),
            Math.max(box.bottom, label.bottom) - Math.min(box.y, label.y));
    });
    const middle = box => [(box.left + box.right) / 2, (box.top + box.bottom) / 2];
    const near = (place, [x, y]) => boxes.some((box, other) => {
        if (other === place || targets[other].contains(targets[place]) || targets[place].contains(targets[other])) return false;
        const small = box.width < least || box.height < least, [a, b] = middle(box);
        const dx = Math.max(box.left - x, 0, x - box.right), dy = Math.max(box.top - y, 0, y - box.bottom);
        return Math.hypot(dx, dy) < least / 2 || small && Math.hypot(a - x, b - y) < least;
    });
    targets.forEach((one, place) => {
        const box = boxes[place], side = Math.min(box.width, box.height);
        const big = one.matches('.main, .touch :is(button, .button)') ? main : least;
        if (side >= big - 0.5 || inWords(one)) return;
        if (big === main || near(place, middle(box)))
            told.push(`${Math.round(box.width)} x ${Math.round(box.height)}, least ${big}: ${name(one)}`);
    });
    for (const field of document.querySelectorAll('main :is(input:not([type=hidden]), select, textarea)')) {
        const label = field.labels?.[0];
        if (!label || !shown(label) || !shown(field) || label.contains(field) || label.matches('.off-screen')) continue;
        const a = label.getBoundingClientRect(), b = field.getBoundingClientRect();
        const dx = Math.max(a.left - b.right, b.left - a.right), dy = Math.max(a.top - b.bottom, b.top - a.bottom);
        if (Math.max(dx, dy) < 1.5) told.push(`label touches its field (${dx.toFixed(1)}, ${dy.toFixed(1)}): ${name(field)}`);
    }
    const parts = [...document.querySelectorAll('main :is(label, button, .button, select, input:not([type=hidden], [type=checkbox], [type=radio]))')]
        .filter(one => shown(one) && !folded(one)).map(one => [one, one.getBoundingClientRect()]);
    for (const [one, a] of parts)
        for (const [other, b] of parts)
            if (one !== other && one.closest('.pinned') === other.closest('.pinned') && !one.contains(other) && !other.contains(one) && Math.abs(b.top - a.bottom) < 1.5
                && Math.min(a.right, b.right) - Math.max(a.left, b.left) > 4)
                told.push(`stands on another: ${name(one)} and ${name(other)}`);
    // by letters alone: a code may break anywhere; a figure never
    const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
    const range = document.createRange();
    while (walk.nextNode()) {
        const { data, parentElement: parent } = walk.currentNode;
        if (!shown(parent) || parent.closest('svg, pre, .code, .path, math, select') || folded(parent)) continue;
        for (const word of data.matchAll(/(?<![\p{L}/:@._~-])\p{L}{4,}(?![\p{L}/:@_~])|(?<![\p{L}\d/:@._~-])[−+-]?\d+[.,]\d+(?![\p{L}\d/:@_~.-])/gu)) {
            range.setStart(walk.currentNode, word.index);
            range.setEnd(walk.currentNode, word.index + word[0].length);
            const lines = new Set([...range.getClientRects()].map(box => Math.round(box.top)));
            if (lines.size > 1) told.push(`broken: ${word[0]} in ${name(parent)}`);
        }
    }
    for (const caption of document.querySelectorAll('main caption'))
        if (shown(caption) && !folded(caption) && caption.offsetWidth < caption.parentElement.offsetWidth / 2)
            told.push(`narrower than its table: ${name(caption)}`);
    const header = document.querySelector('body > header');
    const rows = new Set([...header?.querySelectorAll('.bar a, .bar button') ?? []].filter(shown)
        .map(one => { const box = one.getBoundingClientRect(); return Math.round((box.top + box.bottom) / 32); }));
    if (rows.size > 2) told.push(`navigation in ${rows.size} rows`);
    return told;
}

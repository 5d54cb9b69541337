'use strict';
// Tables that sort and filter, and what is made ready for paper.
(() => {
  function table(node) {
    const body = node.querySelector('tbody');
    const rows = [...body.rows];
    const headers = [...node.querySelectorAll('th')];
    const key = (row, column) => {
      const cell = row.cells[column];
      if (cell.dataset.by === '') return null;
      return cell.dataset.by !== undefined ? Number(cell.dataset.by) : cell.textContent.trim().toLowerCase();
    };
    headers.forEach((header, column) => {
      const button = document.createElement('button');
      button.type = 'button';
      button.textContent = header.textContent;
      // On paper a button is drawn on the first page alone.
      const printed = document.createElement('span');
      printed.className = 'printed';
      printed.setAttribute('aria-hidden', 'true');
      printed.textContent = header.textContent;
      header.replaceChildren(button, printed);
      button.addEventListener('click', () => {
        const down = header.getAttribute('aria-sort') === 'ascending';
        for (const other of headers) other.removeAttribute('aria-sort');
        header.setAttribute('aria-sort', down ? 'descending' : 'ascending');
        const compare = (one, other) => {
          const [a, b] = [key(one, column), key(other, column)];
          // What is missing comes last, whichever way.
          if (a === null || b === null) return (a === null) - (b === null);
          const order = typeof a === 'number' && typeof b === 'number' ? a - b
            : String(a).localeCompare(String(b), 'en', { numeric: true });
          return down ? -order : order;
        };
        body.replaceChildren(...rows.slice().sort(compare));
      });
    });
    const filter = node.querySelector('.filter');
    if (!filter) return;
    filter.hidden = false;
    const input = filter.querySelector('input');
    const printed = document.createElement('p');
    printed.className = 'printed note';
    filter.after(printed);
    input.addEventListener('input', () => {
      const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
      let count = 0;
      for (const row of rows) {
        const text = row.textContent.toLowerCase();
        row.hidden = !words.every((word) => text.includes(word));
        if (!row.hidden) count += 1;
      }
      filter.querySelector('[role=status]').textContent = words.length ? count + ' of ' + rows.length : '';
      printed.textContent = words.length ? count + ' of ' + rows.length + ' rows: those that hold "' + input.value + '"' : '';
    });
  }

  for (const node of document.querySelectorAll('[data-table]')) table(node);
  // Paper cannot be opened.
  let closed = [];
  addEventListener('beforeprint', () => {
    closed = [...document.querySelectorAll('details:not([open])')];
    for (const one of closed) one.open = true;
  });
  addEventListener('afterprint', () => { for (const one of closed) one.open = false; });
})();

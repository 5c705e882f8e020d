/** Counts of what an OASIS file holds beyond plain geometry, or holds wrongly in a way that does no harm. */
export class OasisTally {
  flatPolygons = 0;
  zeroWidthPaths = 0;
  onePointPaths = 0;
  circles = 0;
  leftOutProperties = 0;
  extensions = 0;
  bytesAfterEnd = 0;
  endLength = 256;
  readonly brokenPromises: string[] = [];

  notes(): string[] {
    const lines: [number, string][] = [
      [this.flatPolygons, 'shape(s) whose signed area is zero'],
      [this.zeroWidthPaths, 'path(s) of zero width, which cover nothing'],
      [this.onePointPaths, 'path(s) with a single place, which cover only what their ends cover'],
      [
        this.circles,
        'CIRCLE record(s), read as polygons that miss less than a database unit or 1/64 of the radius',
      ],
      [this.leftOutProperties, 'properties of shapes, labels, cells, names and the file, left out'],
      [this.extensions, 'XELEMENT and XGEOMETRY record(s), private to the program that wrote them, left out'],
      [this.bytesAfterEnd, 'byte(s) after END, ignored'],
    ];
    const notes = lines.filter(([count]) => count > 0).map(([count, what]) => `${count} ${what}.`);
    if (this.endLength !== 256) notes.push(`The END record takes up ${this.endLength} bytes and not 256.`);
    return [...notes, ...this.brokenPromises];
  }
}

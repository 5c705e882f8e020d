/** Counts of what a GDSII file holds beyond plain geometry, or holds wrongly in a way that does no harm. */
export class GdsiiTally {
  openPolygons = 0;
  flatPolygons = 0;
  zeroWidthPaths = 0;
  onePointPaths = 0;
  boxes = 0;
  nodes = 0;
  absoluteMagnifications = 0;
  absoluteAngles = 0;
  shapeProperties = 0;
  skippedRecords = 0;
  bytesAfterEnd = 0;
  readonly externalLibraries: string[] = [];

  notes(): string[] {
    const lines: [number, string][] = [
      [this.openPolygons, 'polygon(s) without a closing vertex, closed here'],
      [this.flatPolygons, 'polygon(s) whose signed area is zero'],
      [this.zeroWidthPaths, 'path(s) of zero width, which cover nothing'],
      [this.onePointPaths, 'path(s) with a single place, which cover only what their ends cover'],
      [this.boxes, 'BOX element(s), read as rectangles on layer/boxtype'],
      [this.nodes, 'NODE element(s), left out: they are electrical marks and no geometry'],
      [this.absoluteMagnifications, 'reference(s) with the absolute-magnification bit, read as relative'],
      [this.absoluteAngles, 'reference(s) with the absolute-angle bit, read as relative'],
      [this.shapeProperties, 'properties of shapes and labels, left out'],
      [this.skippedRecords, 'record(s) that the stream format reserves or leaves to programs, skipped'],
      [this.bytesAfterEnd, 'byte(s) other than NUL after ENDLIB, ignored'],
    ];
    const notes = lines.filter(([count]) => count > 0).map(([count, what]) => `${count} ${what}.`);
    if (this.externalLibraries.length > 0) {
      notes.push(`The file names reference libraries (${this.externalLibraries.join(', ')}), not opened.`);
    }
    return notes;
  }
}

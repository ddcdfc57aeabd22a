declare module 'words:*' {
  const all: Record<string, string | Record<string, string>>;
  export default all;
}
declare class BarcodeDetector {
  constructor(options?: { formats: string[] });
  detect(source: CanvasImageSource): Promise<{ rawValue: string }[]>;
}

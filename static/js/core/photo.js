// Photos for upload: scaled down to the size that the server needs, as JPEG.
export const LONG_SIDE_PX = 1600;

/**
 * A video frame or a picture as JPEG, at most `longestPx` a side.
 * @param {CanvasImageSource} source
 * @param {number} width
 * @param {number} height
 * @returns {Promise<Blob>}
 */
export function toJpeg(source, width, height, longestPx = LONG_SIDE_PX, quality = 0.85) {
  const scale = Math.min(1, longestPx / Math.max(width, height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(width * scale));
  canvas.height = Math.max(1, Math.round(height * scale));
  canvas.getContext("2d")?.drawImage(source, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("no picture"))), "image/jpeg", quality);
  });
}

/**
 * A photo from a file, rotated upright and scaled down; rejects if the browser cannot read it.
 * @param {Blob} file
 */
export async function scaledJpeg(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  try {
    return await toJpeg(picture, picture.width, picture.height);
  } finally {
    picture.close();
  }
}

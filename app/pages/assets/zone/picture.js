// A picture as it is sent: made smaller on the phone, which also leaves out where and with what it was
// taken. What the browser cannot draw goes as it is, if the server knows the kind.

const MOST_ALONG = 2560, MOST_BYTES = 16 * 1024 * 1024;

/** The bytes and kind of a chosen file; undefined for what is no picture that can be sent. */
export async function pictureOf(file) {
  try {
    const drawn = await createImageBitmap(file);
    const scale = Math.min(1, MOST_ALONG / Math.max(drawn.width, drawn.height));
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [Math.round(drawn.width * scale), Math.round(drawn.height * scale)];
    canvas.getContext("2d").drawImage(drawn, 0, 0, canvas.width, canvas.height);
    const packed = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.85));
    return { type: "image/jpeg", bytes: await packed.arrayBuffer() };
  } catch {
    const isHeic = /hei[cf]/.test(file.type) || /\.hei[cf]$/i.test(file.name);
    if (!isHeic || file.size > MOST_BYTES) return undefined;
    return { type: "image/heic", bytes: await file.arrayBuffer() };
  }
}

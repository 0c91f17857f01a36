"use strict";
// Hands over the microphone's samples in blocks of 2048, each with the number of its first sample.
class Listener extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(2048);
    this.filled = 0;
    this.first = 0;
  }
  process(inputs) {
    const channel = inputs[0] && inputs[0][0];
    if (!channel) return true;
    if (this.filled === 0) this.first = currentFrame;
    this.block.set(channel, this.filled);
    this.filled += channel.length;
    if (this.filled >= this.block.length) {
      const message = new ArrayBuffer(8 + 4 * this.filled);
      new DataView(message).setFloat64(0, this.first, true);
      new Float32Array(message, 8).set(this.block);
      this.port.postMessage(message, [message]);
      this.filled = 0;
    }
    return true;
  }
}
registerProcessor("listener", Listener);

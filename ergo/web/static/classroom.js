export class ClassRoom { constructor() { this.isOn = false; } go() {} toggle() {} }

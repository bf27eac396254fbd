// placeholder, replaced below
export class Corrections { constructor() {} show() {} showSpan() {} undo() {} }

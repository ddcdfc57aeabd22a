M117 Layer 1 (of 2); 50%
M118 E1 A1 said
M0 press the knob
M23 file.gco
M28 /a/b.g
M30 x*12

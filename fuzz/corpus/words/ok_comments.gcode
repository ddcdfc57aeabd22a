(first) G1 (in the middle) X1 ; and the rest (not closed
; höhe µm
G1 (a;b) X2

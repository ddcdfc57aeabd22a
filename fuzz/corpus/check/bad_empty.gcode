; nothing
M104 S200

package main

// maxrssUnit is what the system counts memory in, in bytes (getrusage(2)).
const maxrssUnit = 1 << 10

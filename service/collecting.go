package main

import (
	"os"
	"runtime/debug"
)

// heapGrowth is by how many per cent the heap may grow before what is no longer used is looked for. What a running service keeps
// is some 20 MB that never change, the contract and the pages, and each look goes through all of them: at the runtime's own 100 per cent that took
// a fifth of the work of taking fish in, for some 40 MB less memory.
const heapGrowth = 400

// collectSeldom sets it, unless the environment does (GOGC). A limit on memory (GOMEMLIMIT) is kept all the same.
func collectSeldom() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(heapGrowth)
	}
}

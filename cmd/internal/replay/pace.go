package replay

import (
	"os"
	"runtime"
	"runtime/debug"
	"sync"
)

// pace lets the heap grow to 64 MB before garbage is collected, and by half once more than half of that lives, until stop is called: by half
// from the start, the replay of eight hours collected 101 times, which took an eighth of its processor time. Whoever sets GOGC has
// it as they say.
func pace() (stop func()) {
	if os.Getenv("GOGC") != "" {
		return func() {}
	}
	const leastHeap, leastLive = 64 << 20, 4 << 20 // bytes; the second is the runtime's
	var mu sync.Mutex
	var now runtime.MemStats
	stopped, percent := false, 100
	before := debug.SetGCPercent(percent)
	var set func(*[16]byte)
	set = func(*[16]byte) {
		mu.Lock()
		defer mu.Unlock()
		if stopped {
			return
		}
		runtime.ReadMemStats(&now)
		live := max(leastLive, int(now.NextGC)*100/(100+percent))
		percent = max(50, leastHeap*100/live-100)
		debug.SetGCPercent(percent)
		runtime.SetFinalizer(new([16]byte), set) // that is after the next collection
	}
	set(nil)
	return func() {
		mu.Lock()
		defer mu.Unlock()
		stopped = true
		debug.SetGCPercent(before)
	}
}

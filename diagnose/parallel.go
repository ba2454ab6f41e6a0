package diagnose

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// parallel does n independent pieces of work on all processors. Each writes to a
// place of its own, so that the outcome does not depend on their order.
func parallel(n int, work func(i int)) {
	workers := min(n, runtime.GOMAXPROCS(0))
	if workers < 2 {
		for i := range n {
			work(i)
		}
		return
	}
	var next atomic.Int64
	var wait sync.WaitGroup
	for range workers {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				work(i)
			}
		})
	}
	wait.Wait()
}

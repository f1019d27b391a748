package exchange

import (
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// largePackage is a package of so many fish by so many anglers, made row by row as it is read; its chains do not follow.
func largePackage(b *testing.B, anglers, each int) Package {
	p := play(b, smallTrial()).publish()
	p.Anglers = nil
	name := func(i int) string {
		return trial.Pseudonym([6]byte{byte(i >> 12 & 31), byte(i >> 8 & 15), byte(i >> 4 & 15), byte(i & 15), 0, 0})
	}
	id := func(kind byte, n int) (id trial.ID) {
		sum := sha256.Sum256(fmt.Appendf(nil, "%c%d", kind, n))
		copy(id[:], sum[:])
		id[6], id[8] = id[6]&0x0f|0x40, id[8]&0x3f|0x80
		return id
	}
	for i := range anglers {
		p.Anglers = append(p.Anglers, Angler{Pseudonym: name(i), Consent: consentOpen, Enrolment: id('a', i)})
	}
	p.Outings = made(anglers, func(i int) Outing { return Outing{Angler: name(i), ID: id('o', i), Week: "2026-W37", End: "planned"} })
	p.Units = made(anglers, func(i int) Unit {
		return Unit{Angler: name(i), ID: id('u', i), N: 1, DrawN: 1, First: trial.TestLower, DrawnBy: trial.ByService}
	})
	p.Periods = made(anglers, func(i int) Period {
		return Period{Angler: name(i), ID: id('p', i), Outing: id('o', i), Unit: id('u', i), Block: "1", Number: "1", Half: 1, Drawn: trial.TestLower, Fished: trial.TestLower, Confirmed: true, Week: "2026-W37"}
	})
	p.Deviations, p.Amendments = nil, nil
	p.Catches = made(anglers*each, func(n int) Fish {
		f := Fish{
			Angler: name(n / each), ID: id('c', n), Outing: id('o', n/each), Period: id('p', n/each), TakenPattern: "C", Taken: trial.TookTest, Outcome: trial.Landed, RigIntact: true,
			Species: "Thymallus thymallus", Origin: trial.Wild, Week: "2026-W37", Arrangement: trial.TestLower, WaterType: "river",
		}
		if n%3 == 0 {
			f.TakenPattern, f.Taken = "N", trial.TookControl
		}
		return f
	})
	p.Ledger = made(anglers*each, func(n int) Entry {
		digest := trial.Digest(sha256.Sum256(fmt.Append(nil, n)))
		return Entry{
			Angler: name(n / each), Chain: id('a', n/each), N: int64(n%each + 1), Kind: trial.LedgerCatch, Subject: id('c', n), PublicDigest: digest, PrivateDigest: digest, Hash: digest, Salt: digest,
			Public: fmt.Sprintf(`{"catch":"%s","taken_pattern":"C"}`, id('c', n)),
		}
	})
	return p
}

func made[T any](n int, row func(int) T) Rows[T] {
	return func(yield func(T, error) bool) {
		for i := range n {
			if !yield(row(i), nil) {
				return
			}
		}
	}
}

// peakHeap is the most memory in use while do runs, above what was in use before, in MB.
func peakHeap(do func()) float64 {
	runtime.GC()
	var before, now runtime.MemStats
	runtime.ReadMemStats(&before)
	stop, stopped, peak := make(chan struct{}), make(chan struct{}), uint64(0)
	go func() {
		defer close(stopped)
		for {
			runtime.ReadMemStats(&now)
			peak = max(peak, now.HeapInuse)
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	do()
	close(stop)
	<-stopped
	return (float64(peak) - float64(before.HeapInuse)) / (1 << 20)
}

// Writing, reading and verifying take memory for one angler's rows, not for all: ten times the anglers with as many fish each need
// hardly more.
func BenchmarkPackageOfManyFish(b *testing.B) {
	for _, anglers := range []int{50, 500} {
		const each = 2000
		b.Run(fmt.Sprintf("fish=%d", anglers*each), func(b *testing.B) {
			p := largePackage(b, anglers, each)
			file, err := os.CreateTemp(b.TempDir(), "package")
			if err != nil {
				b.Fatal(err)
			}
			defer file.Close()
			for b.Loop() {
				if _, err := file.Seek(0, io.SeekStart); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(peakHeap(func() {
					if err := WritePackage(file, p); err != nil {
						b.Fatal(err)
					}
				}), "MB-writing")
				size, err := file.Seek(0, io.SeekCurrent)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(size)/(1<<20), "MB-packed")
				b.ReportMetric(peakHeap(func() {
					read, err := ReadPackage(file, size)
					if err != nil {
						b.Fatal(err)
					}
					if v, err := Verify(read, VerifyOptions{ProgramVersion: "test"}); err != nil || v.Agrees() || !strings.Contains(told(v), "more do not agree") {
						b.Fatal("the made-up package should not agree: ", err)
					}
				}), "MB-verifying")
			}
		})
	}
}

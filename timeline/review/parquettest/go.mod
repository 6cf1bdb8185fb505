// An outside reader of the Parquet export, kept out of coxswain's own module:
// Apache's own Go implementation is for this test only.
module coxswain/timeline/review/parquettest

go 1.26.0

require (
	coxswain v0.0.0
	github.com/apache/arrow-go/v18 v18.8.0
)

require (
	filippo.io/age v1.3.2 // indirect
	filippo.io/hpke v0.4.0 // indirect
	github.com/andybalholm/brotli v1.2.3 // indirect
	github.com/apache/thrift v0.24.0 // indirect
	github.com/cespare/xxhash/v2 v2.3.0 // indirect
	github.com/faiface/beep v1.1.0 // indirect
	github.com/go-audio/audio v1.0.0 // indirect
	github.com/go-audio/riff v1.0.0 // indirect
	github.com/go-audio/wav v1.1.0 // indirect
	github.com/goccy/go-json v0.10.6 // indirect
	github.com/google/flatbuffers v25.12.19+incompatible // indirect
	github.com/google/uuid v1.6.0 // indirect
	github.com/klauspost/compress v1.20.3 // indirect
	github.com/klauspost/cpuid/v2 v2.4.0 // indirect
	github.com/parquet-go/parquet-go v0.25.1 // indirect
	github.com/pierrec/lz4/v4 v4.1.29 // indirect
	github.com/pion/opus v0.1.0 // indirect
	github.com/pkg/errors v0.9.1 // indirect
	github.com/zeebo/xxh3 v1.1.0 // indirect
	go.yaml.in/yaml/v3 v3.0.5 // indirect
	golang.org/x/crypto v0.58.0 // indirect
	golang.org/x/exp v0.0.0-20260112195511-716be5621a96 // indirect
	golang.org/x/sync v0.24.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
	gonum.org/v1/gonum v0.17.0 // indirect
)

replace coxswain => ../../..

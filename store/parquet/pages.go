package parquet

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// The library makes room for as much as a page's header says, and unpacks all that
// comes. So the pages are walked through before: a file of some kilobytes that asks for
// gigabytes is refused here. It costs about as much as reading the file once.

const (
	maxFooter = 16 << 20
	maxPage   = 16 << 20 // bytes, unpacked
	maxValues = 8 * groupRows
)

var errSizes = errors.New("the Parquet file tells sizes that no session has")

// checkFooter looks at the length of the metadata at the file's end.
func checkFooter(f *os.File, size int64) error {
	var tail [8]byte
	if size < 12 {
		return errors.New("the Parquet file is cut off")
	}
	if _, err := f.ReadAt(tail[:], size-8); err != nil {
		return err
	}
	if string(tail[4:]) != "PAR1" {
		return errors.New("the Parquet file is cut off")
	}
	if n := int64(tail[0]) | int64(tail[1])<<8 | int64(tail[2])<<16 | int64(tail[3])<<24; n > maxFooter || n > size-12 {
		return errSizes
	}
	return nil
}

// checkPages walks through the pages of every column.
func checkPages(f *os.File, p *parquet.File, size int64) error {
	unpack, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(4*maxPage))
	if err != nil {
		return err
	}
	defer unpack.Close()
	for _, g := range p.Metadata().RowGroups {
		if g.NumRows < 0 || g.NumRows > maxValues {
			return errSizes
		}
		for _, c := range g.Columns {
			m := c.MetaData
			begin := m.DataPageOffset
			if m.DictionaryPageOffset > 0 {
				begin = min(begin, m.DictionaryPageOffset)
			}
			switch {
			case m.Codec != format.Zstd:
				return fmt.Errorf("%w: it is not packed by zstd", ErrNotOurs)
			case m.NumValues < 0 || m.NumValues > maxValues || m.TotalCompressedSize < 0 || begin < 4 || begin > size || m.TotalCompressedSize > size-begin:
				return errSizes
			}
			if err := checkChunk(io.NewSectionReader(f, begin, m.TotalCompressedSize), unpack); err != nil {
				return err
			}
		}
	}
	return nil
}

func checkChunk(chunk io.Reader, unpack *zstd.Decoder) error {
	in := bufio.NewReader(chunk)
	for {
		if _, err := in.Peek(1); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
		var h format.PageHeader
		if err := thrift.NewDecoder(new(thrift.CompactProtocol).NewReader(in)).Decode(&h); err != nil {
			return fmt.Errorf("a page's header: %w", err)
		}
		packed, whole, plain := int64(h.CompressedPageSize), int64(h.UncompressedPageSize), int64(0)
		values := max(h.DataPageHeader.V.NumValues, h.DictionaryPageHeader.V.NumValues, h.DataPageHeaderV2.V.NumValues)
		if v2 := h.DataPageHeaderV2.V; h.DataPageHeaderV2.Valid {
			plain = int64(v2.DefinitionLevelsByteLength) + int64(v2.RepetitionLevelsByteLength)
			if v2.DefinitionLevelsByteLength < 0 || v2.RepetitionLevelsByteLength < 0 || v2.NumRows > maxValues {
				return errSizes
			}
		}
		if packed < plain || packed > maxPage || whole < 0 || whole > maxPage || values < 0 || values > maxValues {
			return errSizes
		}
		if _, err := io.CopyN(io.Discard, in, plain); err != nil {
			return err
		}
		body := &io.LimitedReader{R: in, N: packed - plain}
		if body.N > 0 {
			if err := unpack.Reset(body); err != nil {
				return fmt.Errorf("a page: %w", err)
			}
			n, err := io.Copy(io.Discard, io.LimitReader(unpack, whole+1))
			if err != nil {
				return fmt.Errorf("a page: %w", err)
			}
			if n > whole {
				return errSizes
			}
		}
		if _, err := io.Copy(io.Discard, body); err != nil {
			return err
		}
	}
}

//! The decoder's source, which remembers how much of it was used.

use std::cell::Cell;

use zune_core::bytestream::{ZByteIoError, ZByteReaderTrait, ZSeekFrom};

/// The stream, watched: remembers how far the decoder has read for its bit buffer, which it does by
/// four bytes or by single bytes without error; its search for markers asks for one byte with error.
pub(super) struct Watched<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) at: usize,
    pub(super) read_to: &'a Cell<usize>,
}

impl ZByteReaderTrait for Watched<'_> {
    #[inline(always)]
    fn read_byte_no_error(&mut self) -> u8 {
        let byte = self.bytes.get(self.at).copied().unwrap_or(0);
        self.at += 1;
        self.read_to.set(self.at);
        byte
    }

    #[inline(always)]
    fn read_exact_bytes(&mut self, buf: &mut [u8]) -> Result<(), ZByteIoError> {
        let Some(from) = self.bytes.get(self.at..self.at + buf.len()) else {
            let left = self.bytes.len().saturating_sub(self.at);
            return Err(ZByteIoError::NotEnoughBytes(left, buf.len()));
        };
        buf.copy_from_slice(from);
        self.at += buf.len();
        if buf.len() == 4 {
            self.read_to.set(self.at);
        }
        Ok(())
    }

    fn read_bytes(&mut self, buf: &mut [u8]) -> Result<usize, ZByteIoError> {
        let count = self.peek_bytes(buf)?;
        self.at += count;
        Ok(count)
    }

    fn peek_bytes(&mut self, buf: &mut [u8]) -> Result<usize, ZByteIoError> {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        let count = rest.len().min(buf.len());
        buf[..count].copy_from_slice(&rest[..count]);
        Ok(count)
    }

    fn peek_exact_bytes(&mut self, buf: &mut [u8]) -> Result<(), ZByteIoError> {
        let count = self.peek_bytes(buf)?;
        if count == buf.len() {
            Ok(())
        } else {
            Err(ZByteIoError::NotEnoughBytes(count, buf.len()))
        }
    }

    fn z_seek(&mut self, from: ZSeekFrom) -> Result<u64, ZByteIoError> {
        let (base, step) = match from {
            ZSeekFrom::Start(to) => (0, i64::try_from(to).unwrap_or(i64::MAX)),
            ZSeekFrom::End(by) => (self.bytes.len() as i64, by),
            ZSeekFrom::Current(by) => (self.at as i64, by),
        };
        let to = usize::try_from(base.saturating_add(step))
            .map_err(|_| ZByteIoError::Generic("seek before the start"))?;
        self.at = to;
        Ok(to as u64)
    }

    #[inline(always)]
    fn is_eof(&mut self) -> Result<bool, ZByteIoError> {
        Ok(self.at >= self.bytes.len())
    }

    fn z_position(&mut self) -> Result<u64, ZByteIoError> {
        Ok(self.at as u64)
    }

    fn read_remaining(&mut self, sink: &mut Vec<u8>) -> Result<usize, ZByteIoError> {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        sink.extend_from_slice(rest);
        self.at = self.bytes.len();
        Ok(rest.len())
    }
}

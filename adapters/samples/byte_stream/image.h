/* What the layouts of images share: bytes of a track's stream, written and read one by one. */
#ifndef IMAGE_H
#define IMAGE_H

#include "controller.h"

enum { A1_OMITTED = 0x04, C2_OMITTED = 0x08, FILL = 0x4E };

/* A place in a track's stream: the clock position of the next byte. It runs on over the index. */
typedef struct cursor {
    track *track;
    size_t at;
} cursor;

/* Writes a byte; `omitted` marks the clock bits that a mark leaves out. */
void put(cursor *to, uint8_t byte, uint8_t omitted);
void put_times(cursor *to, unsigned count, uint8_t byte);
void put_marks(cursor *to, uint8_t byte, uint8_t omitted); /* three of them */
uint8_t get(cursor *from);

/* Goes to behind the next three A1 marks in a row, `*left` channel bits on at most; takes off
 * `*left` what it went. */
bool find_marks(cursor *from, size_t *left);

/* CRC-16, polynomial 1021, high bit first (SA810/860 OEM manual, p. 36). */
uint16_t check_on(uint16_t check, uint8_t byte);
uint16_t check_of_marks(void); /* of FFFF and three bytes A1 */

void soft_sector_stream(cursor *to);
void soft_sector_decode(track *t);
void full_track_stream(cursor *to);
void full_track_decode(track *t);

#endif

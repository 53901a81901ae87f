// The sample word reader behind the ports of wrapper.md: 16-bit words, hardware sync, a FIFO of three.
module trackproof_word_reader (
    input  wire        clock,
    input  wire        reset,

    input  wire        bit_strobe,
    input  wire        bit_in,
    input  wire        source_changed,
    input  wire        index,

    input  wire        request,
    input  wire [31:0] words,
    input  wire [1:0]  start,
    output wire        accepted,
    input  wire        service,
    output reg  [63:0] word,
    output reg         word_valid,
    input  wire        abort_transfer,
    input  wire        host_reset,
    output wire        done,

    input  wire        sync_word_write,
    input  wire [63:0] sync_word,
    input  wire        hardware_sync_write,
    input  wire        hardware_sync,

    input  wire        poll_status,
    output wire        status_done,
    output wire        status_busy,
    output wire        status_error,
    output wire        status_match,
    input  wire        poll_byte,
    output wire [7:0]  byte_value,
    output wire        byte_fresh
);
    wire take, bit_taken, shifted, valid, enabled, match;
    wire boundary, byte_boundary;
    wire put, get, clear, full, empty;
    wire [15:0] bits;
    wire [15:0] oldest;

    wire unused = &{1'b0, poll_status, words[31:16], sync_word[63:16]};

    bit_synchroniser bit_synchroniser (
        .clock(clock), .reset(reset), .bit_strobe(bit_strobe), .bit_in(bit_in),
        .take(take), .bit_taken(bit_taken)
    );

    shift_register shift_register (
        .clock(clock), .reset(reset), .take(take), .bit_taken(bit_taken),
        .source_changed(source_changed), .bits(bits), .shifted(shifted), .valid(valid)
    );

    comparator comparator (
        .clock(clock), .reset(reset), .host_reset(host_reset),
        .sync_word_write(sync_word_write), .sync_word(sync_word[15:0]),
        .hardware_sync_write(hardware_sync_write), .hardware_sync(hardware_sync),
        .bits(bits), .shifted(shifted), .valid(valid), .boundary(boundary),
        .enabled(enabled), .match(match), .flag(status_match)
    );

    word_counter word_counter (
        .clock(clock), .reset(reset), .host_reset(host_reset), .shifted(shifted), .match(match),
        .boundary(boundary), .byte_boundary(byte_boundary)
    );

    byte_port byte_port (
        .clock(clock), .reset(reset), .host_reset(host_reset), .byte_boundary(byte_boundary),
        .newest_bits(bits[7:0]), .poll_byte(poll_byte),
        .byte_value(byte_value), .byte_fresh(byte_fresh)
    );

    read_control read_control (
        .clock(clock), .reset(reset), .host_reset(host_reset), .abort_transfer(abort_transfer),
        .request(request), .words(words[15:0]), .start(start), .match(match),
        .sync_switched_off(enabled && hardware_sync_write && !hardware_sync), .index(index),
        .boundary(boundary), .service(service), .full(full), .empty(empty),
        .put(put), .get(get), .clear(clear), .accepted(accepted), .done(done),
        .was_done(status_done), .busy(status_busy), .lost(status_error)
    );

    fifo fifo (
        .clock(clock), .reset(reset), .clear(clear), .put(put), .put_word(bits),
        .get(get), .oldest(oldest), .full(full), .empty(empty)
    );

    always @(posedge clock)
        if (reset) begin
            word <= 64'd0;
            word_valid <= 1'b0;
        end else begin
            word <= {48'd0, oldest};
            word_valid <= get;
        end
endmodule

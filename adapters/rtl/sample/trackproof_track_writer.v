// The sample track writer behind the ports of wrapper.md: data bytes with clock bits, a FIFO of three.
module trackproof_track_writer (
    input  wire        clock,
    input  wire        reset,

    input  wire        cell_begin,
    input  wire        cell_end,
    input  wire        index,
    output wire        write_gate,
    output reg         write_bit,

    input  wire        request,
    input  wire [31:0] words,
    input  wire [1:0]  start,
    input  wire        offer,
    input  wire [63:0] word,
    output reg         word_taken,
    input  wire        abort_transfer,
    input  wire        host_reset,
    output wire        busy,
    output wire        done
);
    localparam [1:0] START_INDEX = 2'd2;

    wire put, get, clear, full, empty;
    wire begins, advance, channel_bit;
    wire [3:0] position;
    wire [15:0] oldest;
    reg [15:0] held;

    wire unused = &{1'b0, words[31:16], word[63:16]};

    write_control write_control (
        .clock(clock), .reset(reset), .host_reset(host_reset), .abort_transfer(abort_transfer),
        .request(request), .words(words[15:0]), .at_index(start == START_INDEX), .index(index),
        .cell_begin(cell_begin), .cell_end(cell_end), .offer(offer), .full(full), .empty(empty),
        .put(put), .get(get), .clear(clear), .begins(begins), .advance(advance),
        .position(position), .write_gate(write_gate), .done(done), .busy(busy)
    );

    fifo fifo (
        .clock(clock), .reset(reset), .clear(clear), .put(put), .put_word(word[15:0]),
        .get(get), .oldest(oldest), .full(full), .empty(empty)
    );

    clock_generator clock_generator (
        .clock(clock), .reset(reset || host_reset), .begins(begins), .advance(advance),
        .position(position), .word(get ? oldest : held), .channel_bit(channel_bit)
    );

    always @(posedge clock)
        if (reset) begin
            held <= 16'd0;
            write_bit <= 1'b0;
            word_taken <= 1'b0;
        end else begin
            if (get)
                held <= oldest;
            if (cell_begin)
                write_bit <= advance && channel_bit;
            word_taken <= put;
        end
endmodule
